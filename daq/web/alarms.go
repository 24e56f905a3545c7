package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// alarmsReply is the answer of GET /api/alarms: every alarm that is not
// normal, and the newest transitions, the newest first.
type alarmsReply struct {
	Alarms         []daq.AlarmStatus `json:"alarms"`
	History        []json.RawMessage `json:"history"` // null when it cannot be read
	HistoryProblem string            `json:"history_problem,omitempty"`
	Figures        *alarm.Figures    `json:"figures"`              // of the last 30 days; null when they cannot be read
	Configured     []alarmSetting    `json:"configured,omitempty"` // where ?configured asks for it
}

const (
	historyDefault = 100
	historyMost    = 1000
	historyWait    = 2 * time.Second // a hung disk must not hide the alarms
)

func (s *Server) alarms(w http.ResponseWriter, r *http.Request) {
	limit, err := historyLimit(r)
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	state, err := s.current()
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	answer := alarmsReply{Alarms: state.Alarms}
	if answer.Alarms == nil {
		answer.Alarms = []daq.AlarmStatus{}
	}
	if err := s.addHistory(w, r, &answer, limit); err != nil {
		answer.HistoryProblem = err.Error()
	}
	if r.URL.Query().Has("configured") {
		answer.Configured = settingsOf(s.facts.Load(), state.Alarms)
	}
	writeJSON(w, answer)
}

func (s *Server) addHistory(w http.ResponseWriter, r *http.Request, answer *alarmsReply, limit int) (err error) {
	ctx, cancel := context.WithTimeout(r.Context(), historyWait)
	defer cancel()
	done, err := s.costly(ctx, w, r)
	if err != nil {
		return err
	}
	defer done()
	answer.Figures = s.figures(r.Context())
	answer.History, err = s.history(r.Context(), limit)
	return err
}

// figuresOver is the least time over which the standards judge an alarm system.
const figuresOver = 30 * 24 * time.Hour

func (s *Server) figures(ctx context.Context) *alarm.Figures {
	if s.opt.History == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, historyWait)
	defer cancel()
	to := s.opt.Now().UTC()
	f, err := s.opt.History.AlarmFigures(ctx, to.Add(-figuresOver), to)
	if err != nil {
		return nil
	}
	return &f
}

func historyLimit(r *http.Request) (int, error) {
	text := r.URL.Query().Get("history")
	if text == "" {
		return historyDefault, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > historyMost {
		return 0, fmt.Errorf("history: %q is not a number of transitions; write 0 to %d", text, historyMost)
	}
	return n, nil
}

func (s *Server) history(ctx context.Context, limit int) ([]json.RawMessage, error) {
	if s.opt.History == nil {
		return nil, errors.New("nothing is recorded")
	}
	ctx, cancel := context.WithTimeout(ctx, historyWait)
	defer cancel()
	list, err := s.opt.History.AlarmHistory(ctx, limit)
	if err != nil {
		return nil, err
	}
	bodies := make([]json.RawMessage, len(list))
	for i := range list {
		bodies[i] = list[i].Body
	}
	return bodies, nil
}

// verbs are what may be done to an alarm.
var verbs = [...]daq.Verb{daq.Acknowledge, daq.Reset, daq.Shelve, daq.Unshelve, daq.OutOfService, daq.ReturnToService}

// commandBody is what a command may carry.
type commandBody struct {
	For    string `json:"for"`
	Reason string `json:"reason"`
}

// commandWait is how long the engine may take to answer.
const commandWait = 5 * time.Second

// command passes a person's wish about an alarm to the engine.
func (s *Server) command(w http.ResponseWriter, r *http.Request) {
	verb := daq.Verb(r.PathValue("verb"))
	if !slices.Contains(verbs[:], verb) {
		refuse(w, http.StatusNotFound, fmt.Sprintf("%q is not something to do to an alarm; write one of acknowledge, reset, shelve, unshelve, out-of-service, return-to-service", verb))
		return
	}
	var body commandBody
	if !readJSON(w, r, &body) {
		return
	}
	length, err := shelvedFor(verb, body)
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	name := r.PathValue("name")
	if err := s.do(r, daq.AskAlarm(verb, name, body.Reason, length)); err != nil {
		refuse(w, s.commandStatus(name, err), err.Error())
		return
	}
	writeJSON(w, done{name, verb, who(r).name})
}

// do has the engine obey, and waits for its answer.
func (s *Server) do(r *http.Request, ask daq.Ask) error {
	ctx, cancel := context.WithTimeout(r.Context(), commandWait)
	defer cancel()
	return s.opt.Rig.Do(ctx, daq.Command{ID: rand.Text(), Who: who(r).name, Ask: ask})
}

// done says what a command did, to what and for whom.
type done struct {
	Alarm string   `json:"alarm,omitempty"`
	Verb  daq.Verb `json:"done"`
	Who   string   `json:"who"`
}

// commandStatus is the status of a refused command. The engine refuses one for
// an alarm that is not there too, so that it is in the journal.
func (s *Server) commandStatus(alarm string, err error) int {
	state := s.opt.Rig.Last()
	there := slices.ContainsFunc(s.facts.Load().Alarms, func(a config.Alarm) bool { return a.Name == alarm }) ||
		state != nil && slices.ContainsFunc(state.Alarms, func(a daq.AlarmStatus) bool { return a.Name == alarm }) // stands since it was configured
	if status := refusedStatus(err); there || status != http.StatusConflict {
		return status
	}
	return http.StatusNotFound
}

// refusedStatus tells an engine that refused from one that did not answer.
func refusedStatus(err error) int {
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return http.StatusServiceUnavailable
	}
	return http.StatusConflict
}
