package web

import (
	"net/http"
	"slices"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// permitView is the heating permit as the page shows it.
type permitView struct {
	Fitted    bool     // there is a permit output
	Blind     bool     // nobody knows how it stands
	Elsewhere bool     // another daemon has its relay
	Given     bool     // a person gave it, and nothing has taken it since
	Permitted bool     // its output is energised, and the relay confirmed that
	ProofTest bool     // the output is down for a proof test and comes back by itself
	Held      []heldBy // by alarms, until a person resets them
	Without   []string // alarms out of service that it was given without
	Unwatched []string // alarms out of service that would trip
}

// heldBy is an alarm that holds the permit off.
type heldBy struct {
	Name     string
	CanReset bool // now; what comes before that stands on the alarm's card
}

// Names joins names for a sentence.
func (permitView) Names(list []string) string { return strings.Join(list, ", ") }

// List joins names for the page's script; no name has a blank.
func (permitView) List(list []string) string { return strings.Join(list, " ") }

func permitOf(state *daq.State, reason error, f *Facts) permitView {
	on, fitted := state.Values.Get(quantity.HeatingPermitted)
	v := permitView{Fitted: fitted || f.Permit, Blind: reason != nil, Elsewhere: reason == nil && f.Permit && !fitted, Given: state.Given, Permitted: on != 0,
		ProofTest: state.ProofTest, Without: state.Without, Unwatched: state.Unwatched}
	for _, name := range state.Tripped {
		next, _ := nextStep(stateOf(name, state.Alarms))
		v.Held = append(v.Held, heldBy{name, next.Verb == daq.Reset})
	}
	return v
}

// permitReply is the answer of GET /api/permit. Without an output the first two
// are null.
type permitReply struct {
	Given     *bool    `json:"given"`     // by a person, and nothing has taken it since
	Permitted *bool    `json:"permitted"` // the output is energised, and the relay confirmed that
	Tripped   []string `json:"tripped"`   // alarms that hold it off
	ProofTest bool     `json:"proof_test"`
	Without   []string `json:"without"` // alarms out of service that it was given without
}

func (s *Server) permit(http.ResponseWriter, *http.Request) (any, error) {
	state, err := s.current()
	if err != nil {
		return nil, err
	}
	answer := permitReply{Tripped: append([]string{}, state.Tripped...), ProofTest: state.ProofTest,
		Without: append([]string{}, state.Without...)}
	if on, fitted := state.Values.Get(quantity.HeatingPermitted); fitted {
		permitted := on != 0
		answer.Given, answer.Permitted = &state.Given, &permitted
	}
	return answer, nil
}

// changePermit passes a person's wish about the permit to the engine.
func (s *Server) changePermit(w http.ResponseWriter, r *http.Request) (any, error) {
	var body struct {
		Action  daq.Verb `json:"action"`
		Without []string `json:"without"`
	}
	if err := readJSON(w, r, &body); err != nil {
		return nil, err
	}
	switch {
	case !slices.Contains([]daq.Verb{daq.Give, daq.Withdraw, daq.ProofTest}, body.Action):
		return nil, problemf(http.StatusBadRequest, `action: %q is not one; write {"action":"give"}, "withdraw" or "proof-test"`, body.Action)
	case len(body.Without) > 0 && body.Action != daq.Give:
		return nil, problemf(http.StatusBadRequest, `without: only "give" takes it; leave it out`)
	}
	ask := daq.NewAsk(body.Action)
	if give, ok := ask.(*daq.GiveAsk); ok {
		give.Without = body.Without
	}
	if _, err := s.do(r, ask); err != nil {
		return nil, problem{Status: refusedStatus(err), Detail: err.Error()}
	}
	return done{Verb: body.Action, Who: who(r).name}, nil
}
