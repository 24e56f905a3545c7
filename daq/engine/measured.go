package engine

import (
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
	"flowrigd/daq/channel"
)

// measureFriction puts the friction factor from the measured pressure drop, where there
// is one and the Reynolds number is known.
func (r *derived) measureFriction(s *daq.State, m *[quantity.Count]channel.Measured) {
	density, known := s.Values.Get(quantity.Density)
	if _, flows := s.Values.Get(quantity.Reynolds); !known || !flows || !m[quantity.PressureDrop].Quality.Usable() {
		return
	}
	drop := pipe.Drop{
		Pressure: input(m[quantity.PressureDrop]), Flow: input(m[quantity.Flow]),
		Density: uncertainty.Value{X: density}, Room: r.room,
	}
	drop.Density.U, _ = s.U.Get(quantity.Density)
	if room := m[quantity.Ambient]; room.Quality.Grade == daq.Good && s.Quality[quantity.Ambient].Grade == daq.Good {
		drop.Room = uncertainty.Value{X: room.Value, U: room.StandardU()}
	}
	f, ok := r.pipe.MeasuredFriction(drop)
	if !ok {
		return
	}
	s.Values.Put(quantity.MeasuredFriction, f.X)
	s.Values.Put(quantity.MeasuredFrictionUncertainty, 2*f.U)
	s.U.Put(quantity.MeasuredFriction, f.U)
}
