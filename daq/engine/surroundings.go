package engine

import (
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// surroundings is what the alarms judge by in one step.
type surroundings struct {
	state        *daq.State
	health       *daq.Health   // nil before the first
	healthAt     time.Duration // monotonic, when it came
	plausibility *plausibility
	contact      bool          // the heater's contact is configured
	given        bool          // the permit is
	dropped      time.Duration // monotonic, when the permit last dropped; 0: not since the start
	permit       bool          // there is one
}

// heater says whether the heater is on: as measured, or else as permitted.
func (s *surroundings) heater() (on, known bool) {
	if v, ok := s.state.Values.Get(quantity.HeaterOn); ok {
		return v != 0, true
	}
	if !s.contact && s.permit {
		return s.given, true
	}
	return false, false
}

// heated is what is known of the heater while it heats.
func (s *surroundings) heated() string {
	if !s.contact {
		return "heating has been permitted"
	}
	return "the heater has been on"
}

// sinceDrop says why the permit is down.
func (s *surroundings) sinceDrop() string {
	if s.dropped > 0 {
		return "the permit was dropped, and still "
	}
	return "the permit has not been given since this start, and "
}
