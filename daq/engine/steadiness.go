package engine

import (
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/config"
	"flowrigd/daq"
)

// The window of steadiness is a minute; more where an instrument is read so rarely
// that a minute does not hold the readings that it takes.
const (
	steadyWindow   = time.Minute
	steadyReadings = 30
)

// steadyOf are the quantities that must be stationary, each with the movement over
// the window that does not matter to a test point: 0.5 % of the flow and 0.1 K, which
// move Re by as much as half the best instruments of a bench do, and 1 mm, some 0.04 %
// of the flow (own choice: half of what the budget of Re has of each at best).
var steadyOf = [...]struct {
	id               quantity.ID
	within, relative float64
	waits            string
}{
	{quantity.Flow, 0, 0.005, "the flow to come to rest"},
	{quantity.Temperature, 0.1, 0, "the temperature to come to rest"},
	{quantity.Level, 0.001, 0, "the level to come to rest"},
}

// steadiness says when the rig is steady: flow, temperature and level at rest over
// their windows, and since the flow or the temperature last moved three passages of
// the tube and the time that a laminar profile takes (pipe.Settling).
type steadiness struct {
	every  [len(steadyOf)]time.Duration // between two readings
	detect [len(steadyOf)]*series.Steady
	still  [len(steadyOf)]bool
	added  [len(steadyOf)]time.Duration // the newest reading
	moved  time.Duration                // when flow or temperature were last seen to move
}

func newSteadiness(cfg *config.Config) steadiness {
	var r steadiness
	for i, q := range steadyOf {
		r.every[i] = cfg.Every(q.id)
		r.detect[i] = series.NewSteady(series.SteadyConfig{Within: q.within, Relative: q.relative, Span: r.span(i)})
	}
	return r
}

func (r *steadiness) span(i int) time.Duration { return max(steadyWindow, steadyReadings*r.every[i]) }

// inherit keeps what was seen through a reload; where a window has another length
// now, its points.
func (r *steadiness) inherit(old *steadiness) {
	r.moved, r.added = old.moved, old.added
	for i := range steadyOf {
		if r.every[i] == old.every[i] {
			r.detect[i], r.still[i] = old.detect[i], old.still[i]
			continue
		}
		r.detect[i].Take(old.detect[i])
		r.still[i] = r.detect[i].Condition() == series.Still
	}
}

// add gives a fresh reading to its window.
func (r *steadiness) add(id quantity.ID, at time.Duration, value float64) {
	for i, q := range steadyOf {
		if q.id == id {
			r.still[i], r.added[i] = r.detect[i].Add(at, value), at
		}
	}
}

// judge says whether the rig is steady, and else the least time until it can be and
// what is waited for; all of it unknown while one of the three is. settling is what
// the tube needs after a change, s; NaN where there is no flow to say.
func (r *steadiness) judge(s *daq.State, settling float64) {
	s.WaitsFor = ""
	for i, q := range steadyOf {
		if _, known := s.Values.Get(q.id); !known {
			r.detect[i].Reset()
			r.still[i] = false
			return
		}
	}
	all, left := true, 0.0
	for i, q := range steadyOf {
		all = all && r.still[i]
		remaining := r.detect[i].Remaining()
		if q.id != quantity.Level && remaining > 0 {
			r.moved = max(r.moved, r.added[i]+remaining-r.span(i))
		}
		wait := max(0, (r.added[i] + remaining - s.Mono).Seconds()) // none while the next reading is awaited
		if !r.still[i] && (wait > left || s.WaitsFor == "") {
			left, s.WaitsFor = wait, q.waits
		}
	}
	if tube := settling - (s.Mono - r.moved).Seconds(); tube > left {
		all, left, s.WaitsFor = false, tube, "the water in the tube to be renewed three times"
	}
	s.Values.PutBool(quantity.Steady, all)
	if !all {
		s.Values.Put(quantity.SettlingSeconds, toMilliseconds(left))
	}
}
