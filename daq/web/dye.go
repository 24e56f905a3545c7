package web

import (
	"net/http"

	"flowrigd/daq"
)

// watchDye asks the engine to take the thread as it is now for the still one.
func (s *Server) watchDye(w http.ResponseWriter, r *http.Request) (any, error) {
	var body struct {
		Action daq.Verb `json:"action"`
	}
	if err := readJSON(w, r, &body); err != nil {
		return nil, err
	}
	if body.Action != daq.Still {
		return nil, problemf(http.StatusBadRequest, `action: %q is not one; write {"action":"still"} while the thread is a straight line`, body.Action)
	}
	if _, err := s.do(r, daq.NewAsk(daq.Still)); err != nil {
		return nil, problem{Status: refusedStatus(err), Detail: err.Error()}
	}
	return done{Verb: daq.Still, Who: who(r).name}, nil
}
