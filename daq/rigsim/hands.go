package rigsim

import (
	"errors"
	"fmt"

	"flowrigd/daq"
)

// How far the hands can turn supply and thermostat of the simulated rig.
const (
	mostSupply  = 10.0 // L/min, what the tap gives fully open
	mostCelsius = 80.0 // °C, the end of the thermostat's dial
)

// Hand does what a person asks for at the rig, all of it or nothing: the scenario
// first, then what is turned, the speed last. Only a rig that shares its daemon's
// clock has hands. Valve, supply or heater turned by hand end the moves of a scenario
// in which nothing fails; what has failed stays so.
func (s *Sim) Hand(h daq.Hands) error {
	s.hand.Lock()
	defer s.hand.Unlock()
	story, err := s.check(h)
	if err != nil {
		return err
	}
	s.follow() // what was set until now counts until now
	s.set(h, story)
	speed, paused := s.options.Clock.Pace()
	if h.Speed != nil {
		speed = *h.Speed
	}
	if h.Pause != nil {
		paused = *h.Pause
	}
	s.options.Clock.SetPace(speed, paused)
	return nil
}

// check refuses what cannot be set, and finds the scenario, where one is asked for.
func (s *Sim) check(h daq.Hands) (*scenario, error) {
	if s.options.Clock == nil {
		return nil, errors.New("simulated rig: it runs by a clock of its own and has no hands; use the demo's")
	}
	within := func(what string, v *float64, low, high, unit float64, sign string) error {
		if v != nil && !(*v >= low*unit && *v <= high*unit) {
			return fmt.Errorf("%s: %.6g%s is out of range; write %g to %g%s", what, *v/unit, sign, low, high, sign)
		}
		return nil
	}
	err := errors.Join(
		within("valve", h.Valve, 0, 1, 1, ""),
		within("supply", h.Supply, 0, mostSupply, litreAMinute, " L/min"),
		within("heater", h.Heater, 0, mostCelsius, 1, " Cel"),
		within("speed", h.Speed, leastSpeed, mostSpeed, 1, ""))
	if err != nil || h.Scenario == nil {
		return nil, err
	}
	story, err := find(*h.Scenario)
	return &story, err
}

func (s *Sim) set(h daq.Hands, story *scenario) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if story != nil {
		s.begin(*story)
	}
	if h.Valve != nil {
		s.plant.tube.wanted = *h.Valve
	}
	if h.Supply != nil {
		s.plant.tap = *h.Supply
	}
	if h.Heater != nil {
		s.plant.heater.setpoint = *h.Heater
	}
	if h.Dye != nil {
		s.plant.dye.off = !*h.Dye
	}
	if (h.Valve != nil || h.Supply != nil || h.Heater != nil) && !s.playing.mishap {
		s.playing = scenario{}
	}
}

// begin plays a scenario from the present state: what failed before is mended, and
// tap, thermostat and valve are set for it, as a person would: the valve for the
// temperature that the water is to have, for as long as it is cold the same Re would
// take more than the tap gives.
func (s *Sim) begin(story scenario) {
	s.mend()
	heat(story.start.celsius, story.start.supply)(s)
	s.plant.turnFor(story.start.celsius, story.start.reynolds)
	s.playing, s.begun, s.round, s.next = story, s.at+story.rest, 0, 0
}

// mend puts right whatever a scenario has broken.
func (s *Sim) mend() {
	p := s.plant
	p.heater.stuck, p.heater.cutOut, p.relay.welded = false, false, false
	p.tube.blockage, p.tube.blockedTo = 0, 0
	for _, in := range s.sensors {
		in.frozen, in.failed, in.withdraw = false, false, false
	}
	for _, l := range s.lines {
		l.faults.Rate = [faultCount]float64{}
		if !l.in.Load() {
			l.plug(true)
		}
	}
}

// Simulator is how the rig is set now.
func (s *Sim) Simulator() daq.Simulator {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := daq.Simulator{
		Valve: s.plant.tube.wanted, Opening: s.plant.tube.opening, Supply: s.plant.tap, Heater: s.plant.heater.setpoint,
		Dye: !s.plant.dye.off, Scenario: s.playing.name, Speed: s.options.Speed,
	}
	if s.options.Clock != nil {
		now.Speed, now.Paused = s.options.Clock.Pace()
	}
	for _, story := range stories() {
		about := story.about
		if story.rest > 0 {
			about += fmt.Sprintf(" The rig rests %g min before, so that it is known without.", story.rest.Minutes())
		}
		now.Scenarios = append(now.Scenarios, daq.Scenario{Name: story.name, About: about, Mishap: story.mishap})
	}
	return now
}
