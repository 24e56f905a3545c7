package channel

import (
	"math"
	"reflect"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// guard recognises numbers that arrive whole and yet cannot be believed.
type guard struct {
	in config.Instrument

	number   float64 // as last read, for frozen
	count    uint64
	changed  time.Duration // when it last changed
	read     bool
	rerouted bool // the next number is asked for in another way: that it differs says nothing

	taken     float64 // the last value taken, for step
	refused   float64 // the last value refused
	hasTaken  bool
	hasRefuse bool
}

// frozen says whether the number on the wire has not changed for frozen_after,
// and since when.
func (g *guard) frozen(r daq.Reading) (since time.Duration, frozen bool) {
	if g.read && g.rerouted {
		g.number, g.count = r.Number, r.Count
	}
	g.rerouted = false
	if !g.read || r.Number != g.number || r.Count != g.count {
		g.number, g.count, g.changed, g.read = r.Number, r.Count, r.At, true
		return r.At, false
	}
	return g.changed, g.in.FrozenAfter > 0 && r.At-g.changed >= g.in.FrozenAfter
}

// inherit keeps since when the number on the wire has not changed.
func (g *guard) inherit(old *guard) {
	g.number, g.count, g.changed, g.read = old.number, old.count, old.changed, old.read
	a, b := old.in, g.in
	g.rerouted = old.rerouted || a.Port != b.Port || !reflect.DeepEqual(a.Modbus, b.Modbus) || !reflect.DeepEqual(a.Query, b.Query) || !reflect.DeepEqual(a.Stream, b.Stream)
}

// step refuses a jump larger than max_step, until a second reading confirms
// it.
func (g *guard) step(value float64) *fault {
	limit := g.in.MaxStep
	if limit <= 0 {
		return nil
	}
	near := !g.hasTaken || math.Abs(value-g.taken) <= limit
	confirmed := g.hasRefuse && math.Abs(value-g.refused) <= limit
	if near || confirmed {
		g.taken, g.hasTaken, g.hasRefuse = value, true, false
		return nil
	}
	g.refused, g.hasRefuse = value, true
	d := config.DimensionOf(g.in.ID)
	return faultf(daq.ReasonStep, "a jump from %s to %s is larger than max_step; a second reading has to confirm it", config.Format(g.taken, d), config.Format(value, d))
}
