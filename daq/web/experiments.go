package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"

	"flowrigd/config"
	"flowrigd/daq"
)

// startExperiment starts a plan of the configuration, by its name, or the person's own.
func (s *Server) startExperiment(w http.ResponseWriter, r *http.Request) (any, error) {
	var body struct {
		Plan json.RawMessage `json:"plan"`
	}
	if err := readJSON(w, r, &body); err != nil {
		return nil, err
	}
	ask, err := planAsk(body.Plan)
	if err != nil {
		return nil, problemf(http.StatusBadRequest, `plan: %v; write {"plan":"NAME"}, or {"plan":{"name":"…","points":[{"temperature":"25 Cel","regimes":["laminar"]}]}}`, err)
	}
	return s.write(r, ask)
}

func planAsk(text json.RawMessage) (*daq.StartExperimentAsk, error) {
	ask := &daq.StartExperimentAsk{}
	switch {
	case len(text) == 0 || string(text) == "null":
		return nil, errors.New("it is missing")
	case text[0] == '"':
		if err := json.Unmarshal(text, &ask.Plan); err != nil {
			return nil, err
		}
		if strings.TrimSpace(ask.Plan) == "" {
			return nil, errors.New("an empty name")
		}
		return ask, nil
	}
	ask.Own = &config.PlanText{}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(ask.Own); err != nil {
		return nil, errors.New(strings.TrimPrefix(err.Error(), "json: "))
	}
	return ask, nil
}

// stopExperiment ends the one that runs, by its ID.
func (s *Server) stopExperiment(w http.ResponseWriter, r *http.Request) (any, error) {
	if err := readJSON(w, r, &struct{}{}); err != nil {
		return nil, err
	}
	id := r.PathValue("id")
	state, err := s.current()
	switch {
	case err != nil:
		return nil, err
	case state.Experiment == nil:
		return nil, problemf(http.StatusNotFound, "experiment %q does not run: none does; GET /api/experiments lists those that did", id)
	case state.Experiment.ID != id:
		return nil, problemf(http.StatusNotFound, "experiment %q does not run; %s does; GET /api/experiments lists all", id, state.Experiment.ID)
	}
	return s.write(r, &daq.StopExperimentAsk{Experiment: id})
}

// experimentReply is one experiment: its newest transition as it was told, and what came
// of it.
type experimentReply struct {
	Started     string            `json:"started"` // RFC 3339; "" where that is not recorded any more
	Ended       *string           `json:"ended"`   // null while it runs
	Points      pointCount        `json:"points"`
	Transitions []json.RawMessage `json:"transitions"` // the newest first
}

// pointCount counts an experiment's conditions, and the test points that it has.
type pointCount struct {
	Planned  int `json:"planned"`     // conditions of its plan
	Captured int `json:"captured"`    // conditions of it that have a test point which nothing speaks against
	All      int `json:"test_points"` // all, spoilt and struck ones too
}

// experiments lists each experiment once, the newest first.
func (s *Server) experiments(w http.ResponseWriter, r *http.Request) (any, error) {
	limit, err := resultsLimit(r)
	if err != nil {
		return nil, err
	}
	lists, err := s.lists(w, r, map[string]int{"experiments": resultsMost, "test-points": resultsMost, "strikes": resultsMost})
	if err != nil {
		return nil, err
	}
	all := []json.RawMessage{}
	byID := map[string][]daq.Message{}
	var order []string
	for _, m := range lists["experiments"] {
		var x daq.Experiment
		_ = json.Unmarshal(m.Body, &x)
		if byID[x.ID] == nil {
			order = append(order, x.ID)
		}
		byID[x.ID] = append(byID[x.ID], m)
	}
	points := withStrikes(lists["test-points"], daq.KindTestPoint, lists["strikes"])
	for _, id := range order[:min(limit, len(order))] {
		all = append(all, experimentOf(id, byID[id], points))
	}
	return map[string]any{"experiments": all}, nil
}

// experimentOf is one experiment by its transitions, the newest first, and the test
// points of all.
func experimentOf(id string, transitions []daq.Message, points []json.RawMessage) json.RawMessage {
	var newest struct {
		daq.Experiment
		Time string `json:"time"`
	}
	out := experimentReply{Transitions: []json.RawMessage{}}
	for _, m := range slices.Backward(transitions) {
		newest.Experiment = daq.Experiment{}
		_ = json.Unmarshal(m.Body, &newest)
		if newest.Action == "started" {
			out.Started = newest.Time
		}
		out.Transitions = slices.Insert(out.Transitions, 0, json.RawMessage(m.Body))
	}
	if newest.Action != "started" {
		out.Ended = &newest.Time
	}
	var plan config.Plan
	_ = json.Unmarshal(newest.Plan, &plan)
	out.Points.Planned = len(plan.Points)
	good := map[string]bool{}
	for _, body := range points {
		var p struct {
			daq.TestPoint
			Struck string `json:"struck"`
		}
		if json.Unmarshal(body, &p) != nil || p.Experiment != id {
			continue
		}
		out.Points.All++
		if p.Spoilt == "" && p.Struck == "" {
			good[p.Point] = true
		}
	}
	for i := range plan.Points {
		if good[plan.Points[i].Name()] {
			out.Points.Captured++
		}
	}
	return wroteDown(encode(out), transitions[0].Body)
}
