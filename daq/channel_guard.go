package daq

import (
	"math"
	"time"

	"flowrigd/config"
)

// guard recognises numbers that arrive whole and yet cannot be believed.
type guard struct {
	in config.Instrument

	number  float64 // as last read, for frozen
	count   uint64
	changed time.Duration // when it last changed
	read    bool

	taken     float64 // the last value taken, for step
	refused   float64 // the last value refused
	hasTaken  bool
	hasRefuse bool
}

// frozen says whether the number on the wire has not changed for frozen_after,
// and since when.
func (g *guard) frozen(r Reading) (since time.Duration, frozen bool) {
	if g.in.FrozenAfter <= 0 {
		return 0, false
	}
	if !g.read || r.Number != g.number || r.Count != g.count {
		g.number, g.count, g.changed, g.read = r.Number, r.Count, r.At, true
		return r.At, false
	}
	return g.changed, r.At-g.changed >= g.in.FrozenAfter
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
	d := dimensionOf(g.in.ID)
	return faultf(ReasonStep, "a jump from %s to %s is larger than max_step; a second reading has to confirm it", config.Format(g.taken, d), config.Format(value, d))
}
