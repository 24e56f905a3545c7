package engine

import (
	"math"
	"time"

	"flowrigd/calc/uncertainty"
)

// onTheWay remembers the water in the tube: what was read at the inlet while it
// entered. The water that is where the dye is watched entered when the flow had
// carried so much less: distance by distance, whatever the valve did meanwhile.
//
//	reading at the inlet, flow → entries by distance run → kelvin that the water at the dye was warmer at the inlet
//
// It is the mixed temperature that goes with the mean velocity: a core that runs ahead
// and a layer at the wall that stays behind carry between them what the mean carries.
type onTheWay struct {
	length float64 // m, from the inlet to the dye
	run    float64 // m that the water has run since the beginning
	at     time.Duration
	known  bool // a flow has been known since the newest entry but one
	n      int  // entries so far; the last wayEntries are kept
	entry  [wayEntries]entry
}

// entry is water at the inlet.
type entry struct {
	run     float64
	celsius float64
	at      time.Duration
}

// wayEntries are kept over the way, some more than wayParts of it.
const (
	wayEntries = 80
	wayParts   = 64
)

// unseenRamp is what the inlet's temperature may have done in a second before anybody
// read it, in K/s: the rise of a bench's tank under its whole heater, some 9 kW for
// 40 L (common practice, no source).
const unseenRamp = 0.05

// move lets the water run at a mean velocity in m/s until a time; what nobody knows
// the flow of is forgotten.
func (w *onTheWay) move(now time.Duration, velocity float64, known bool) {
	if !known {
		w.n, w.known, w.at = 0, false, now
		return
	}
	if w.known {
		w.run += max(0, velocity) * (now - w.at).Seconds()
	}
	w.known, w.at = true, now
}

// enter takes a reading at the inlet. Readings closer together than a part of the way
// take the place of the newest entry, but for the first of a part.
func (w *onTheWay) enter(celsius float64) {
	e := entry{w.run, celsius, w.at}
	if w.n >= 2 && w.run-w.get(1).run < w.length/wayParts {
		w.entry[(w.n-1)%wayEntries] = e
		return
	}
	w.entry[w.n%wayEntries] = e
	w.n++
}

// forget drops what was read, as when the thermometer fails.
func (w *onTheWay) forget() { w.n = 0 }

// get is the entry i before the newest.
func (w *onTheWay) get(i int) *entry { return &w.entry[(w.n-1-i)%wayEntries] }

// warmer is by how many kelvin the water at the dye left the inlet warmer than the
// inlet's water is now, with its standard uncertainty. fall is what a steady flow loses up to the dye, K; velocity is the present
// one, flowU the relative standard uncertainty of the flow.
func (w *onTheWay) warmer(celsius, velocity, flowU, fall float64) (v uncertainty.Value) {
	if w.n == 0 || w.length <= 0 || velocity <= 0 {
		return v
	}
	wanted := w.run - w.length
	oldest := w.get(min(w.n, wayEntries) - 1)
	for i := range min(w.n, wayEntries) {
		if e := w.get(i); e.run <= wanted {
			if i == 0 {
				return v
			}
			return w.between(e, w.get(i-1), wanted, celsius, velocity, flowU, fall)
		}
	}
	// The water there entered before the first entry.
	unseen := (oldest.run - wanted) / velocity
	v.X = oldest.celsius - celsius
	v.U = unseenRamp * unseen / math.Sqrt(3)
	return v
}

// between two entries the temperature runs straight. What the flow's own error moves
// the place by moves the temperature along the slope there; and water that was longer
// in the tube than a steady flow takes has lost more on its way, up to as much again
// for each time as long, taken as limits.
func (w *onTheWay) between(a, b *entry, wanted, celsius, velocity, flowU, fall float64) (v uncertainty.Value) {
	slope, part := 0.0, 0.0
	if b.run > a.run {
		slope, part = (b.celsius-a.celsius)/(b.run-a.run), (wanted-a.run)/(b.run-a.run)
	}
	age := w.at - a.at - time.Duration(part*float64(b.at-a.at))
	v.X = a.celsius + slope*(wanted-a.run) - celsius
	longer := math.Abs(age.Seconds()*velocity/w.length - 1)
	if longer < steadyWay || math.IsNaN(fall) {
		longer = 0
	}
	if math.IsNaN(flowU) {
		flowU = 0 // Re's own uncertainty is unknown then
	}
	v.U = math.Hypot(slope*w.length*flowU, math.Abs(fall)*longer/math.Sqrt(3))
	return v
}

// steadyWay is the part by which the time on the way may differ from that of a steady
// flow before it counts: what the flow's own noise makes of it is no change.
const steadyWay = 0.05
