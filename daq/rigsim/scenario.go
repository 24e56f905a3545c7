package rigsim

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// scenario is a story in data: where the rig starts, which instruments it has
// beside the required ones, and what befalls it when.
type scenario struct {
	name   string
	about  string
	mishap bool // something fails in it
	start  setting
	extra  []quantity.ID
	moves  []move
	rest   time.Duration                 // before the moves, where it is begun from another state: what is compared with must be known
	again  time.Duration                 // the moves repeat with this period; 0: once
	plan   string                        // of rig.toml, that the demonstrator starts; "" for none
	frozen map[quantity.ID]time.Duration // frozen_after in rig.toml
}

// move is one thing that happens at a time of the rig's.
type move struct {
	at time.Duration
	do action
}

// action changes the rig; it is called with the rig's lock held.
type action func(*Sim)

// The vocabulary of the scenarios.

// valve turns the valve for a Reynolds number at the temperature of that
// moment; 0 shuts it.
func valve(reynolds float64) action { return func(s *Sim) { s.plant.turnTo(reynolds) } }

// halfTorn turns the valve, eyes on the thread, until it is torn half of the time.
func halfTorn(s *Sim) { s.plant.turnTo(s.plant.stretches.critical()) }

// heat sets tap and thermostat for a tank temperature.
func heat(celsius, litresAMinute float64) action {
	return func(s *Sim) {
		s.plant.tap = litresAMinute * litreAMinute
		s.plant.dial(celsius)
	}
}

// tap sets the supply.
func tap(litresAMinute float64) action {
	return func(s *Sim) { s.plant.tap = litresAMinute * litreAMinute }
}

// stick makes the thermostat's power stage conduct for good.
func stick(s *Sim) { s.plant.heater.stuck = true }

// weld makes the permit relay's contact stay closed.
func weld(s *Sim) { s.plant.relay.welded = true }

// block lets something in the tube's mouth grow to a loss coefficient.
func block(loss float64) action { return func(s *Sim) { s.plant.tube.blockedTo = loss } }

// pull and plug handle a cable.
func pull(name string) action { return func(s *Sim) { s.lines[name].plug(false) } }
func plug(name string) action { return func(s *Sim) { s.lines[name].plug(true) } }

// freeze lets an instrument repeat its last number.
func freeze(id quantity.ID) action { return func(s *Sim) { s.sensor(id).frozen = true } }

// fail lets an instrument report its own failure.
func fail(id quantity.ID) action { return func(s *Sim) { s.sensor(id).failed = true } }

// withdraw takes a probe out of the water.
func withdraw(id quantity.ID) action { return func(s *Sim) { s.sensor(id).withdraw = true } }

// disturb puts faults on a line, each on this share of the answers.
func disturb(name string, share float64, faults ...Fault) action {
	return func(s *Sim) {
		for _, f := range faults {
			s.lines[name].faults.Rate[f] = share
		}
	}
}

// look is a person who has watched the dye for ten seconds and notes what it
// showed: the thread itself, whatever Re is.
func look(s *Sim) {
	if s.plant.dye.off {
		return
	}
	seen := s.plant.dye.seen()
	if s.plant.tube.velocity <= 0 {
		seen = quantity.NoFlow
	}
	s.seen = append(s.seen, Observation{Seen: seen, Note: "dye thread, seen by the simulated demonstrator"})
}

// Scenarios are the names that Options.Scenario may have.
func Scenarios() []string {
	var names []string
	for _, sc := range stories() {
		names = append(names, sc.name)
	}
	return names
}

// Guarded says whether a scenario is one in which the heating permit has
// something to do.
func Guarded(name string) bool {
	return !slices.Contains([]string{"", "steady", "sweep", "night", "friction", "noise", "blocked-tube"}, name)
}

func find(name string) (scenario, error) {
	if name == "" {
		name = "steady"
	}
	for _, sc := range stories() {
		if sc.name == name {
			return sc, nil
		}
	}
	return scenario{}, fmt.Errorf("scenario %q: unknown; write one of %s", name, strings.Join(Scenarios(), ", "))
}
