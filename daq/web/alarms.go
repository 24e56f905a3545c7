package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/request"
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

func (s *Server) alarms(w http.ResponseWriter, r *http.Request) (any, error) {
	limit, err := historyLimit(r)
	if err != nil {
		return nil, err
	}
	state, err := s.current()
	if err != nil {
		return nil, err
	}
	answer := alarmsReply{Alarms: append([]daq.AlarmStatus{}, state.Alarms...)}
	if err := s.addHistory(w, r, &answer, limit); err != nil {
		answer.HistoryProblem = err.Error()
	}
	if r.URL.Query().Has("configured") {
		answer.Configured = settingsOf(s.facts.Load(), state.Alarms)
	}
	return answer, nil
}

// figuresOver is the least time over which the standards judge an alarm system.
const figuresOver = 30 * 24 * time.Hour

func (s *Server) addHistory(w http.ResponseWriter, r *http.Request, answer *alarmsReply, limit int) error {
	if s.opt.History == nil {
		return errors.New("nothing is recorded")
	}
	done, err := inTime(r, historyWait, func(ctx context.Context) (func(), error) { return s.costly(ctx, w, r) })
	if err != nil {
		return err
	}
	defer done()
	to := s.opt.Now().UTC()
	figures, err := inTime(r, historyWait, func(ctx context.Context) (alarm.Figures, error) {
		return s.opt.History.AlarmFigures(ctx, to.Add(-figuresOver), to)
	})
	if err == nil {
		answer.Figures = &figures
	}
	list, err := inTime(r, historyWait, func(ctx context.Context) ([]daq.Message, error) { return s.opt.History.AlarmHistory(ctx, limit) })
	if err != nil {
		return err
	}
	answer.History = []json.RawMessage{}
	for _, m := range list {
		answer.History = append(answer.History, m.Body)
	}
	return nil
}

// inTime bounds the time of something that is done for a request.
func inTime[T any](r *http.Request, limit time.Duration, do func(context.Context) (T, error)) (T, error) {
	ctx, cancel := context.WithTimeout(r.Context(), limit)
	defer cancel()
	return do(ctx)
}

func historyLimit(r *http.Request) (int, error) {
	text := r.URL.Query().Get("history")
	if text == "" {
		return historyDefault, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > historyMost {
		return 0, problemf(http.StatusBadRequest, "history: %q is not a number of transitions; write 0 to %d", text, historyMost)
	}
	return n, nil
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
func (s *Server) command(w http.ResponseWriter, r *http.Request) (any, error) {
	verb := daq.Verb(r.PathValue("verb"))
	if !slices.Contains(verbs[:], verb) {
		return nil, problemf(http.StatusNotFound, "%q is not something to do to an alarm; write one of acknowledge, reset, shelve, unshelve, out-of-service, return-to-service", verb)
	}
	var body commandBody
	if err := readJSON(w, r, &body); err != nil {
		return nil, err
	}
	length, err := request.ShelvedFor(verb, body.For, body.Reason)
	if err != nil {
		return nil, problem{Status: http.StatusBadRequest, Detail: err.Error()}
	}
	name := r.PathValue("name")
	if _, err := s.do(r, daq.AskAlarm(verb, name, body.Reason, length)); err != nil {
		return nil, problem{Status: s.commandStatus(name, err), Detail: err.Error()}
	}
	return done{name, verb, who(r).name}, nil
}

// do has the engine obey, and waits for its answer.
func (s *Server) do(r *http.Request, ask daq.Ask) (made []byte, err error) {
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
	var wrong daq.Wrong
	if errors.As(err, &wrong) {
		return http.StatusBadRequest
	}
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return http.StatusServiceUnavailable
	}
	return http.StatusConflict
}
