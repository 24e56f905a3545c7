// Package regime owns the word for the regime as people see it: the plain
// comparison of the Reynolds number with its two limits, held back for a moment
// so that it does not flicker beside a limit.
//
//	band by comparison, Re, U, time → Tracker.Step → band to show
//
// It compares nothing with a temperature and knows no clock: the time is given.
package regime

import (
	"time"

	"flowrigd/calc/quantity"
)

// Tracker holds a regime. Two trackers fed with the same steps say the same.
type Tracker struct {
	laminarBelow, turbulentAbove float64
	hold                         time.Duration

	shown  quantity.Band
	left   bool          // the comparison no longer agrees with the band shown
	leftAt time.Duration // since when
}

// New makes a tracker that shows unknown. The limits are Reynolds numbers; hold
// is how long a comparison must differ from the band shown before it is
// believed; about 1 s is useful, 0 or less follows every comparison at once.
func New(laminarBelow, turbulentAbove float64, hold time.Duration) *Tracker {
	return &Tracker{laminarBelow: laminarBelow, turbulentAbove: turbulentAbove, hold: hold}
}

// Step takes the comparison of this moment, its Reynolds number with the
// expanded uncertainty, and the time on a clock that never steps back, and gives
// the band to show.
//
// Unknown and no-flow are shown at once, and so is what follows them. Between
// the bands of a flow the word changes when the comparison has differed for the
// hold time without a break, or at once when Re is past the limit by more than
// its uncertainty. So a settled flow always has the word of the plain
// comparison.
func (t *Tracker) Step(raw quantity.Band, re, u float64, now time.Duration) quantity.Band {
	switch {
	case raw == t.shown:
		t.left = false
	case !flowing(raw) || !flowing(t.shown) || t.clearlyPast(re, u):
		t.show(raw)
	case !t.left:
		t.left, t.leftAt = true, now
	}
	if t.left && now-t.leftAt >= t.hold {
		t.show(raw)
	}
	return t.shown
}

func (t *Tracker) show(b quantity.Band) { t.shown, t.left = b, false }

func flowing(b quantity.Band) bool {
	return b == quantity.Laminar || b == quantity.Transitional || b == quantity.Turbulent
}

// clearlyPast reports whether Re lies outside the band shown by more than its
// uncertainty.
func (t *Tracker) clearlyPast(re, u float64) bool {
	low, high := t.laminarBelow, t.turbulentAbove
	switch t.shown {
	case quantity.Laminar:
		return re > low+u
	case quantity.Turbulent:
		return re < high-u
	}
	return re < low-u || re > high+u
}
