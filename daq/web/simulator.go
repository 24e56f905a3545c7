package web

import (
	"math"
	"net/http"
	"strings"

	"flowrigd/config"
	"flowrigd/daq"
)

// Simulator are the hands of a simulated rig.
type Simulator interface {
	Hand(daq.Hands) error // all of it or nothing
	Simulator() daq.Simulator
}

// simulatorReply is the answer of /api/simulator: units as a request writes them.
type simulatorReply struct {
	Valve     float64        `json:"valve"`     // opening that the hand turns to, 0 to 1
	Opening   float64        `json:"valve_now"` // where it is by now
	Supply    string         `json:"supply"`
	Heater    string         `json:"heater"`
	Dye       bool           `json:"dye"`
	Scenario  *string        `json:"scenario"` // null where a person works the rig by hand
	Speed     float64        `json:"speed"`
	Pause     bool           `json:"pause"`
	Scenarios []daq.Scenario `json:"scenarios"`
	About     string         `json:"about"`
}

// simulatorAbout is what must be known before the rig is worked by hand.
const simulatorAbout = "A scenario begins from the present state of the rig: what failed before is mended, and supply, thermostat and valve are set for it. " +
	"Water that has to become hot for it takes minutes of the rig: raise the speed. " +
	"After a trip the heating permit is off until a person gives it, and a heater that fails heats nothing without it. " +
	"Valve, supply or heater set by hand end the moves of a scenario in which nothing fails. " +
	"The valve turns by a twentieth of its travel a second; heater is the thermostat of the heater's outlet. " +
	"Pause lets rig and daemon stand still, and speed is what they go on with. " +
	"At a real bench, bring no cold water to hot glass."

// simulatorRoutes are the hands of a simulated rig; another has none for anybody.
func (s *Server) simulatorRoutes() map[string]route {
	if s.opt.Simulator == nil {
		return map[string]route{"GET": {"", noSimulator}, "POST": {"", noSimulator}}
	}
	return map[string]route{"GET": {RoleWatch, answering(s.simulator)}, "POST": {RoleOperate, answering(s.workSimulator)}}
}

func noSimulator(w http.ResponseWriter, _ *http.Request) {
	refuse(w, http.StatusNotFound, "/api/simulator exists in `flowrigd demo` alone: the instruments that this daemon reads are not simulated")
}

func (s *Server) simulator(http.ResponseWriter, *http.Request) (any, error) {
	now := s.opt.Simulator.Simulator()
	reply := simulatorReply{
		Valve: rounded(now.Valve), Opening: rounded(now.Opening), Supply: config.Format(now.Supply, config.VolumeFlow),
		Heater: config.Format(rounded(now.Heater), config.Temperature), Dye: now.Dye, Speed: now.Speed, Pause: now.Paused,
		Scenarios: now.Scenarios, About: simulatorAbout,
	}
	if now.Scenario != "" {
		reply.Scenario = &now.Scenario
	}
	return reply, nil
}

// rounded to a thousandth.
func rounded(v float64) float64 { return math.Round(v*1000) / 1000 }

// workSimulator does what a person asks for at the simulated rig.
func (s *Server) workSimulator(w http.ResponseWriter, r *http.Request) (any, error) {
	var body struct {
		Valve    *float64 `json:"valve"`
		Supply   *string  `json:"supply"`
		Heater   *string  `json:"heater"`
		Dye      *bool    `json:"dye"`
		Scenario *string  `json:"scenario"`
		Speed    *float64 `json:"speed"`
		Pause    *bool    `json:"pause"`
	}
	if err := readJSON(w, r, &body); err != nil {
		return nil, err
	}
	if body.Speed != nil && *body.Speed == 0 {
		return nil, problemf(http.StatusBadRequest, `speed: 0 is no speed; write {"pause":true} to let the rig stand still`)
	}
	h := daq.Hands{Valve: body.Valve, Dye: body.Dye, Scenario: body.Scenario, Speed: body.Speed, Pause: body.Pause}
	if h == (daq.Hands{}) && body.Supply == nil && body.Heater == nil {
		return nil, problemf(http.StatusBadRequest, `nothing is asked for; write what shall change, such as {"valve":0.5} or {"supply":"3.5 L/min","speed":10}`)
	}
	var err error
	if h.Supply, err = amount("supply", body.Supply, config.VolumeFlow); err != nil {
		return nil, err
	}
	if h.Heater, err = amount("heater", body.Heater, config.Temperature); err != nil {
		return nil, err
	}
	if err := s.opt.Simulator.Hand(h); err != nil {
		return nil, problemf(http.StatusBadRequest, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
	}
	s.log.Info("simulated rig set by hand", "who", who(r).name)
	return s.simulator(w, r)
}

// amount reads a quantity that somebody sets: it has no uncertainty.
func amount(what string, text *string, want config.Dimension) (*float64, error) {
	if text == nil {
		return nil, nil
	}
	v, err := config.ParseQuantity(*text, want)
	if err != nil {
		return nil, problemf(http.StatusBadRequest, "%s: %v", what, err)
	}
	if v.U != 0 {
		return nil, problemf(http.StatusBadRequest, "%s: %q has an uncertainty; write the value alone: it is set, not measured", what, *text)
	}
	return &v.X, nil
}
