package rigsim

import (
	"math"
	"math/rand/v2"
)

// stretches are the turbulent parts of the water in the tube: puffs and slugs.
// They are born at the inlet at random and pass with the flow; where two meet
// they are one.
type stretches struct {
	list [16]stretch // the foremost first
	n    int
	due  float64 // of births that are expected, until the next
	law  law     // at the last Reynolds number

	threshold, floor float64 // Re at which the share is one half: of this inlet, and of any
	kept             bool    // turbulence has filled the tube and the floor counts
	past             [memoryPassages]float64
	passage          int
	run, torn        float64 // m since the passage began, and of them with a torn thread
}

// stretch reaches from its tail to its head, m from the inlet.
type stretch struct{ tail, head float64 }

// law is what the stretches do at a Reynolds number.
type law struct {
	re       float64
	up, down float64 // fronts' velocities ÷ the mean velocity: tail and head
	births   float64 // a bore that the water runs
}

// newStretches draws the inlet of a rig.
func newStretches(r *rand.Rand) stretches {
	return stretches{
		threshold: thresholdLow + (thresholdHigh-thresholdLow)*r.Float64(),
		floor:     floorLow + (floorHigh-floorLow)*r.Float64(),
	}
}

// fronts are the velocities of a stretch's tail and head ÷ the mean velocity: the
// fit of Chen, Xu and Song (J. Fluid Mech. 2022, from memory). A puff keeps its
// length, and goes as its tail does.
func fronts(re float64) (up, down float64) {
	up = 0.024 + math.Pow(re/1936, -0.528)
	if re < puffsBelow {
		return up, up
	}
	return up, 1.971 - math.Pow(re/1925, -0.825)
}

// critical is the threshold in force.
func (t *stretches) critical() float64 {
	if t.kept {
		return t.floor
	}
	return t.threshold
}

// wanted is the share of time that a place is to be torn at a Reynolds number.
func wanted(re, critical float64) float64 {
	return 1 / (1 + math.Exp((critical-re)/(shareScale*critical)))
}

// density is −ln(1 − share): how many stretches cover a place in the mean.
func density(re, critical float64) float64 {
	return math.Min(mostDensity, -math.Log1p(-wanted(re, critical)))
}

// lawAt finds how often stretches must be born for the wanted share at x bores:
// share = 1 − exp(−n·[x·(1/c_u − 1/c_d) + l0/c_u]) (transition_statistics,
// section 3: random births, merging).
func lawAt(re, critical, x float64) law {
	up, down := fronts(re)
	return law{re: re, up: up, down: down, births: density(re, critical) / (x*(1/up-1/down) + bornLength/up)}
}

// step moves the fronts by dt of a flow and lets stretches be born.
func (t *stretches) step(dt, v, re float64, g geometry, r *rand.Rand) {
	if re < leastTurbulent {
		t.n = 0 // what the flow no longer feeds is gone within the viscous time
		t.remember(v*dt, g)
		return
	}
	if math.Abs(re-t.law.re) > 2e-4*re {
		t.law = lawAt(re, t.critical(), g.watchedAt/g.bore)
	}
	t.move(v*dt, g.length)
	if t.due -= t.law.births * v * dt / g.bore; t.due < 0 {
		t.due = r.ExpFloat64()
		t.born(g.bore)
	}
	t.remember(v*dt, g)
}

// born begins a stretch, or lengthens the one that still fills the inlet.
func (t *stretches) born(bore float64) {
	if t.n > 0 && t.list[t.n-1].tail <= 0 || t.n == len(t.list) {
		t.list[t.n-1].tail = -bornLength * bore
		return
	}
	t.list[t.n] = stretch{tail: -bornLength * bore}
	t.n++
}

func (t *stretches) move(run, length float64) {
	kept := 0
	for _, s := range t.list[:t.n] {
		s.tail += t.law.up * run
		s.head = math.Min(length, s.head+t.law.down*run)
		switch {
		case s.tail >= length:
			continue
		case kept > 0 && s.head >= t.list[kept-1].tail:
			t.list[kept-1].tail = s.tail
			continue
		}
		t.list[kept] = s
		kept++
	}
	t.n = kept
}

// covers says whether the water at x is turbulent.
func (t *stretches) covers(x float64) bool {
	for _, s := range t.list[:t.n] {
		if s.tail <= x && x <= s.head {
			return true
		}
	}
	return false
}

// content is the share of the tube that is turbulent.
func (t *stretches) content(length float64) float64 {
	sum := 0.0
	for _, s := range t.list[:t.n] {
		sum += math.Max(0, s.head-math.Max(0, s.tail))
	}
	return sum / length
}

// remember keeps the torn share of the last passages, and with it which
// threshold counts: one that has been full of turbulence keeps it down to the
// floor, until it has been laminar nearly all of the time.
func (t *stretches) remember(run float64, g geometry) {
	t.run += run
	if t.covers(g.watchedAt) {
		t.torn += run
	}
	if t.run < g.length {
		return
	}
	t.past[t.passage] = t.torn / t.run
	t.passage = (t.passage + 1) % memoryPassages
	t.run, t.torn = 0, 0
	before := t.kept
	if share := t.share(); t.kept {
		t.kept = share >= memoryGone
	} else {
		t.kept = share > memoryFull
	}
	if t.kept != before {
		t.law = law{}
	}
}

// share is the torn share of the passages that are remembered.
func (t *stretches) share() float64 {
	sum := 0.0
	for _, share := range t.past {
		sum += share
	}
	return sum / memoryPassages
}
