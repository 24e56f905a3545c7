package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"slices"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// permitView is the heating permit as the page shows it.
type permitView struct {
	Fitted  bool     // there is a permit output
	Given   bool     // its output is energised: heating permitted
	Tripped []string // alarms that hold it off until somebody resets them
}

func permitOf(state *daq.State) permitView {
	given, fitted := state.Values.Get(quantity.HeatingPermitted)
	return permitView{fitted, given != 0, state.Tripped}
}

// permitReply is the answer of GET /api/permit; null without an output.
type permitReply struct {
	Permitted *bool    `json:"heating_permitted"`
	Tripped   []string `json:"tripped"`
}

func (s *Server) permit(w http.ResponseWriter, _ *http.Request) {
	state, err := s.current()
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	p := permitOf(state)
	answer := permitReply{Tripped: append([]string{}, p.Tripped...)}
	if p.Fitted {
		answer.Permitted = &p.Given
	}
	writeJSON(w, answer)
}

// permitVerbs are what may be done to the permit.
var permitVerbs = [...]daq.Verb{daq.Give, daq.Withdraw, daq.ProofTest}

// changePermit passes a person's wish about the permit to the engine.
func (s *Server) changePermit(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Action daq.Verb `json:"action"`
	}
	if !readJSON(w, r, &body) {
		return
	}
	if !slices.Contains(permitVerbs[:], body.Action) {
		refuse(w, http.StatusBadRequest, fmt.Sprintf(`action: %q is not one; write {"action":"give"}, "withdraw" or "proof-test"`, body.Action))
		return
	}
	c := daq.Command{ID: rand.Text(), Verb: body.Action, Who: who(r).name}
	ctx, cancel := context.WithTimeout(r.Context(), commandWait)
	defer cancel()
	if err := s.opt.Rig.Do(ctx, c); err != nil {
		refuse(w, refusedStatus(err), err.Error())
		return
	}
	writeJSON(w, done{Verb: c.Verb, Who: c.Who})
}
