package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/request"
)

// resultKinds are the lists of results by the last word of their address, which is the
// recording's too; the kind is "" for what cannot be struck.
var resultKinds = map[string]string{
	"test-points": daq.KindTestPoint, "observations": daq.KindObservation, "collections": daq.KindCollection, "notes": "", "experiments": "",
}

const (
	resultsDefault = 100
	resultsMost    = 1000
)

// results lists what is written down, the newest first; what is struck says why.
func (s *Server) results(what string) func(http.ResponseWriter, *http.Request) (any, error) {
	return func(w http.ResponseWriter, r *http.Request) (any, error) {
		limit, err := resultsLimit(r)
		if err != nil {
			return nil, err
		}
		lists, err := s.lists(w, r, map[string]int{what: limit, "strikes": resultsMost})
		if err != nil {
			return nil, err
		}
		return map[string]any{strings.ReplaceAll(what, "-", "_"): withStrikes(lists[what], resultKinds[what], lists["strikes"])}, nil
	}
}

// lists reads so many of each list of results, the newest first.
func (s *Server) lists(w http.ResponseWriter, r *http.Request, limits map[string]int) (map[string][]daq.Message, error) {
	if s.opt.History == nil {
		return nil, problemf(http.StatusServiceUnavailable, "nothing is recorded: see /readyz")
	}
	done, err := inTime(r, historyWait, func(ctx context.Context) (func(), error) { return s.costly(ctx, w, r) })
	if err != nil {
		return nil, err
	}
	defer done()
	all := map[string][]daq.Message{}
	for what, limit := range limits {
		if all[what], err = s.recorded(r, what, math.MaxInt64, limit); err != nil {
			return nil, fmt.Errorf("the recording does not answer: %w", err)
		}
	}
	return all, nil
}

func (s *Server) recorded(r *http.Request, what string, last int64, limit int) ([]daq.Message, error) {
	return inTime(r, historyWait, func(ctx context.Context) ([]daq.Message, error) { return s.opt.History.Results(ctx, what, last, limit) })
}

// withStrikes are the messages, each struck one with the reason of the newest strike.
func withStrikes(list []daq.Message, kind string, strikes []daq.Message) []json.RawMessage {
	why := map[int64]string{}
	for _, m := range strikes {
		var strike daq.Strike
		if json.Unmarshal(m.Body, &strike) == nil && strike.Of == kind && why[strike.Struck] == "" {
			why[strike.Struck] = strike.Reason
		}
	}
	all := []json.RawMessage{}
	for _, m := range list {
		body := m.Body
		if reason := why[m.Sequence]; kind != "" && reason != "" {
			body = append(append(append(body[:len(body)-1:len(body)-1], `,"struck":`...), encode(reason)...), '}')
		}
		all = append(all, body)
	}
	return all
}

func resultsLimit(r *http.Request) (int, error) {
	for key := range r.URL.Query() {
		if key != "limit" {
			return 0, problemf(http.StatusBadRequest, "%q: unknown; there is limit", key)
		}
	}
	text := cmp.Or(r.URL.Query().Get("limit"), strconv.Itoa(resultsDefault))
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > resultsMost {
		return 0, problemf(http.StatusBadRequest, "limit: %q is not a number of entries; write 1 to %d", text, resultsMost)
	}
	return n, nil
}

// write passes to the engine what a person writes down.
func (s *Server) write(r *http.Request, ask daq.Ask) (any, error) {
	made, err := s.do(r, ask)
	if err != nil {
		return nil, problem{Status: refusedStatus(err), Detail: err.Error()}
	}
	text := wroteDown(encode(done{Verb: ask.Verb(), Who: who(r).name}), made)
	switch ask.(type) {
	case *daq.StrikeAsk, *daq.StopExperimentAsk: // of something that is there
		return object(text), nil
	}
	return created(text), nil
}

// created is the answer for something new, in JSON.
type created []byte

// wroteDown is what was done, and in the same object the message of what was made.
func wroteDown(done, made []byte) []byte {
	var own, all map[string]json.RawMessage
	if json.Unmarshal(done, &own) != nil || json.Unmarshal(made, &all) != nil {
		return done
	}
	maps.Copy(all, own)
	return encode(all)
}

func (s *Server) capture(w http.ResponseWriter, r *http.Request) (any, error) {
	var ask daq.CaptureAsk
	if err := readTexts(w, r, &ask, map[string]*string{"point": &ask.Point}); err != nil {
		return nil, err
	}
	return s.write(r, &ask)
}

func (s *Server) observe(w http.ResponseWriter, r *http.Request) (any, error) {
	var ask daq.ObserveAsk
	if err := readTexts(w, r, &ask, map[string]*string{"seen": &ask.Seen, "note": &ask.Note}); err != nil {
		return nil, err
	}
	if err := request.Seen(ask.Seen); err != nil {
		return nil, problem{Status: http.StatusBadRequest, Detail: err.Error()}
	}
	return s.write(r, &ask)
}

func (s *Server) note(w http.ResponseWriter, r *http.Request) (any, error) {
	var ask daq.NoteAsk
	if err := readTexts(w, r, &ask, map[string]*string{"kind": &ask.Kind, "text": &ask.Text}); err != nil {
		return nil, err
	}
	switch ask.Kind {
	case "valve", "inlet", "air":
	case "other":
		if strings.TrimSpace(ask.Text) == "" {
			return nil, problemf(http.StatusBadRequest, `text: a note of kind "other" needs a text; write {"kind":"other","text":"…"}`)
		}
	default:
		return nil, problemf(http.StatusBadRequest, `kind: %q is not one; write {"kind":"valve"}, "inlet", "air" or "other"`, ask.Kind)
	}
	return s.write(r, &ask)
}

// strike marks something recorded as wrong; it must be there.
func (s *Server) strike(what string) func(http.ResponseWriter, *http.Request) (any, error) {
	return func(w http.ResponseWriter, r *http.Request) (any, error) {
		var body struct {
			Reason string `json:"reason"`
		}
		if err := readTexts(w, r, &body, map[string]*string{"reason": &body.Reason}); err != nil {
			return nil, err
		}
		if strings.TrimSpace(body.Reason) == "" {
			return nil, problemf(http.StatusBadRequest, `reason: striking needs one; write {"reason":"…"}`)
		}
		text := r.PathValue("sequence")
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < 1 {
			return nil, problemf(http.StatusNotFound, "%q is not the sequence of one; GET /api/%s lists them", text, what)
		}
		if s.opt.History == nil {
			return nil, problemf(http.StatusServiceUnavailable, "nothing is recorded: see /readyz")
		}
		list, err := s.recorded(r, what, n, 1)
		if err != nil {
			return nil, fmt.Errorf("the recording does not answer: %w", err)
		}
		if len(list) == 0 || list[0].Sequence != n {
			return nil, problemf(http.StatusNotFound, "there is no %s %d; GET /api/%s lists them", resultKinds[what], n, what)
		}
		ask := daq.StrikeAsk{Of: resultKinds[what], Struck: n, Reason: body.Reason}
		if what == "test-points" { // of which experiment and condition, so that it is taken again
			var point daq.TestPoint
			if json.Unmarshal(list[0].Body, &point) == nil {
				ask.Experiment, ask.Point = point.Experiment, point.Point
			}
		}
		return s.write(r, &ask)
	}
}

// collectionBody is a timed collection as a person hands it in.
type collectionBody struct {
	Volume string `json:"volume"`
	Mass   string `json:"mass"`
	Start  string `json:"start"`
	Stop   string `json:"stop"`
	Time   string `json:"time"`
	Vessel struct {
		Material    string `json:"material"`
		Temperature string `json:"temperature"`
	} `json:"vessel"`
}

func (s *Server) collect(w http.ResponseWriter, r *http.Request) (any, error) {
	var body collectionBody
	if err := readTexts(w, r, &body, map[string]*string{"vessel.material": &body.Vessel.Material}); err != nil {
		return nil, err
	}
	ask, err := body.ask()
	if err != nil {
		return nil, problem{Status: http.StatusBadRequest, Detail: err.Error()}
	}
	return s.write(r, ask)
}

func (b *collectionBody) ask() (*daq.CollectAsk, error) {
	ask := &daq.CollectAsk{Vessel: b.Vessel.Material}
	var seconds *uncertainty.Value
	for _, q := range []struct {
		key, text string
		dimension config.Dimension
		to        **uncertainty.Value
	}{
		{"volume", b.Volume, config.Volume, &ask.Volume}, {"mass", b.Mass, config.Mass, &ask.Mass},
		{"time", b.Time, config.Time, &seconds}, {"vessel.temperature", b.Vessel.Temperature, config.Temperature, &ask.VesselTemperature},
	} {
		if q.text == "" {
			continue
		}
		v, err := config.ParseQuantity(q.text, q.dimension)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", q.key, err)
		}
		*q.to = &v
	}
	if seconds != nil {
		ask.Seconds = seconds.X
	}
	for _, t := range []struct {
		key, text string
		to        *time.Time
	}{{"start", b.Start, &ask.Start}, {"stop", b.Stop, &ask.Stop}} {
		if t.text == "" {
			continue
		}
		at, err := time.Parse(time.RFC3339, t.text)
		if err != nil {
			return nil, fmt.Errorf("%s: %q is not a time; write RFC 3339, such as 2026-03-02T09:00:00Z", t.key, t.text)
		}
		*t.to = at.UTC()
	}
	if (ask.Volume == nil) == (ask.Mass == nil) {
		return nil, fmt.Errorf(`volume and mass: give one of them, such as {"volume":"200 mL","time":"30 s"}`)
	}
	return ask, nil
}

// readTexts reads a body and bounds the texts of it that are kept.
func readTexts(w http.ResponseWriter, r *http.Request, body any, texts map[string]*string) error {
	if err := readJSON(w, r, body); err != nil {
		return err
	}
	if err := request.Texts(texts); err != nil {
		return problem{Status: http.StatusBadRequest, Detail: err.Error()}
	}
	return nil
}
