package web

import (
	"errors"
	"maps"
	"net/http"
	"slices"
	"strings"

	"flowrigd/daq"
)

var errNoState = errors.New("no state yet: the engine has not made its first step")

// current is the newest state, or why there is none to believe: a state that
// an engine left behind when it stopped is not shown as the present.
func (s *Server) current() (*daq.State, error) {
	if err := s.opt.Rig.Alive(); err != nil {
		return nil, err
	}
	if state := s.opt.Rig.Last(); state != nil {
		return state, nil
	}
	return nil, errNoState
}

// now answers with the state, the same object as MQTT's `state`.
func (s *Server) now(http.ResponseWriter, *http.Request) (any, error) {
	state, err := s.current()
	if err != nil {
		return nil, err
	}
	return object(daq.AppendState(nil, state, s.opt.Rig.Identity())), nil
}

// healthz says whether the process works and the engine steps.
func (s *Server) healthz(http.ResponseWriter, *http.Request) (any, error) {
	return map[string]bool{"healthy": true}, s.opt.Rig.Alive()
}

// ready is the answer of /readyz when all is well.
type ready struct {
	Ready  bool              `json:"ready"`
	Checks map[string]string `json:"checks"`
}

// readyz says which of instruments, recording and broker do not work.
func (s *Server) readyz(http.ResponseWriter, *http.Request) (any, error) {
	checks := s.checks()
	texts := make(map[string]string, len(checks))
	var failed []string
	for _, name := range slices.Sorted(maps.Keys(checks)) {
		texts[name] = "ok"
		if err := checks[name]; err != nil {
			texts[name] = err.Error()
			failed = append(failed, name)
		}
	}
	if len(failed) == 0 {
		return ready{true, texts}, nil
	}
	return nil, problem{Status: http.StatusServiceUnavailable,
		Detail: "not ready: " + strings.Join(failed, ", "), Checks: texts}
}

// checks adds the engine to the checks that were given.
func (s *Server) checks() map[string]error {
	checks := map[string]error{}
	if s.opt.Checks != nil {
		maps.Copy(checks, s.opt.Checks())
	}
	_, checks["engine"] = s.current()
	return checks
}
