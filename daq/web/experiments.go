package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
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
