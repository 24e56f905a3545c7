package web

import (
	"cmp"
	"slices"

	"flowrigd/calc/quantity"
)

// slot is a place kept for a label, with room for all that it may come to say, so that
// no label moves or covers another when a reading turns bad. X is its left edge, or,
// of a Left one, its right edge, to which the text runs.
type slot struct {
	X, Y float64
	Left bool
	W, H float64
}

// Heights of what a label says, in units of the drawing (style.css, .label).
const (
	labelWide  = 196.0
	valueHigh  = 25.0
	wordsHigh  = 15.0
	stateHigh  = 45.0  // its quality, and two lines of the reason
	narrow     = 150.0 // in less than that the quality takes a line more
	besideTank = 126.0 // left of the tank
	behindLip  = 109.0 // right of the overflow
)

// readingSlot has room for a value, lines of words, its quality and the reason.
func readingSlot(x, y, w float64, lines int) slot {
	s := slot{X: x, Y: y, W: w, H: valueHigh + wordsHigh*float64(lines) + stateHigh}
	if w < narrow {
		s.H += wordsHigh
	}
	return s
}

// valueSlot has room for a value that has no quality of its own.
func valueSlot(x, y, w float64, lines int) slot {
	return slot{X: x, Y: y, W: w, H: valueHigh + wordsHigh*float64(lines)}
}

func wordsSlot(x, y, w float64, lines int) slot {
	return slot{X: x, Y: y, W: w, H: wordsHigh * float64(lines)}
}

// endsAt has the text run to an edge on the right.
func (s slot) endsAt(x float64) slot {
	s.X, s.Left = x, true
	return s
}

func (s slot) box() rect {
	if s.Left {
		return rect{s.X - s.W, s.Y, s.W, s.H}
	}
	return rect{s.X, s.Y, s.W, s.H}
}

// measured are the readings that stand in the drawing, each in its slot and with what it
// is; a level is told against the lip.
var measured = [...]struct {
	id         quantity.ID
	slot, what string
}{
	{quantity.Level, "level", ""}, {quantity.Tank, "tank", "in the tank"}, {quantity.Temperature, "inlet", "inlet"}, {quantity.Flow, "flow", "flow"},
	{quantity.HeaterOutlet, "heated", "out of the heater"}, {quantity.SupplyFlow, "supply", "supply"}, {quantity.SupplyOn, "supplied", "supply runs"},
	{quantity.Ambient, "room", "room"}, {quantity.PressureDrop, "pressure", "along the tube"},
}

// upstream adds the slots before the tank, which are the same in each orientation.
func (d *frame) upstream() {
	d.slots["heated"] = readingSlot(200, 2, narrow, 1)
	d.slots["supply"] = readingSlot(4, 63, besideTank, 1)
	d.slots["supplied"] = readingSlot(4, 164, besideTank, 1)
}

// settle moves the slots that are in use apart: downwards from where each would be,
// and what then lies beyond the foot of the drawing upwards again.
func (d *frame) settle(instruments []quantity.ID) {
	used := []string{"tube", "thread", "dye"}
	for _, m := range measured {
		if slices.Contains(instruments, m.id) {
			used = append(used, m.slot)
		}
	}
	slices.SortFunc(used, func(a, b string) int {
		return cmp.Or(cmp.Compare(d.slots[a].Y, d.slots[b].Y), cmp.Compare(a, b))
	})
	const apart = 4
	down := func(s *slot, hit rect) { s.Y = hit.Y + hit.H + apart }
	up := func(s *slot, hit rect) { s.Y = hit.Y - s.H - apart }
	taken := d.solid()
	for _, name := range used {
		taken = append(taken, d.move(name, down, taken))
	}
	taken = d.solid()
	for _, name := range slices.Backward(used) {
		s := d.slots[name]
		s.Y = min(s.Y, benchHigh-s.H)
		d.slots[name] = s
		taken = append(taken, d.move(name, up, taken))
	}
}

// move takes a slot away from what it would cover, always in one direction.
func (d *frame) move(name string, away func(*slot, rect), taken []rect) rect {
	s := d.slots[name]
	for {
		i := slices.IndexFunc(taken, s.box().covers)
		if i < 0 {
			d.slots[name] = s
			return s.box()
		}
		away(&s, taken[i])
	}
}

// solid is what of the drawing no label may cover.
func (d *frame) solid() []rect {
	around := func(at spot, reach float64) rect { return rect{at.X - reach, at.Y - reach, 2 * reach, 2 * reach} }
	return []rect{{d.Tank.X, d.Tank.Y, d.Tank.W + 16, d.Tank.H}, d.Tube, around(d.Valve, 12), around(d.Meter, 15)}
}

func (r rect) covers(o rect) bool {
	const less = 0.01 // of rounding
	return r.X+less < o.X+o.W && o.X+less < r.X+r.W && r.Y+less < o.Y+o.H && o.Y+less < r.Y+r.H
}
