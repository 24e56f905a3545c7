// Package series owns what is said about a quantity over time: its slope, its
// mean with an honest standard error, and whether it is steady.
//
//	samples → Window (averaged points of the last minute) → Slope, Mean, Steady
//
// It knows no clock (every sample brings its own monotonic time), starts
// nothing, and decides no alarm.
package series

import (
	"math"
	"time"
)

// Window holds the last span of a quantity as at most capacity points. It
// allocates nothing after NewWindow. The zero Window keeps nothing.
//
// Samples closer together than span/(capacity-1) are averaged into one point
// (time and value alike). So a fast instrument thins its history and never
// shortens it, and the noise of a point falls as it would by a longer gate.
type Window struct {
	span  time.Duration
	width time.Duration // samples of one point lie within this
	ring  []point
	first int // index of the oldest point
	n     int
	opened,
	last time.Duration // first sample of the newest point; newest sample

	times, values, pairs []float64 `snapshot:"length"` // scratch of Slope
}

// A point is the mean of some samples.
type point struct {
	at      float64 // s, mean monotonic time
	value   float64
	samples float64
}

// NewWindow makes a window over span with at most capacity points. A span that
// is not positive becomes a minute, a capacity under 8 becomes 8.
func NewWindow(span time.Duration, capacity int) *Window {
	if span <= 0 {
		span = time.Minute
	}
	capacity = max(capacity, 8)
	return &Window{
		span:   span,
		width:  span / time.Duration(capacity-1),
		ring:   make([]point, capacity),
		times:  make([]float64, slopePoints),
		values: make([]float64, slopePoints),
		pairs:  make([]float64, slopePoints*(slopePoints-1)/2),
	}
}

// Add takes a sample of monotonic time at, and says whether it began a new
// point. Points older than the span fall out. A value that is not finite and a
// time before the newest sample are ignored: neither says anything about the
// quantity.
func (w *Window) Add(at time.Duration, v float64) (began bool) {
	if len(w.ring) == 0 || math.IsNaN(v) || math.IsInf(v, 0) || (w.n > 0 && at < w.last) {
		return false
	}
	w.last = at
	for w.n > 0 && w.ring[w.first].at < (at-w.span).Seconds() {
		w.dropOldest()
	}
	if w.n > 0 && at-w.opened < w.width {
		p := &w.ring[w.index(w.n-1)]
		p.samples++
		p.at += (at.Seconds() - p.at) / p.samples
		p.value += (v - p.value) / p.samples
		return false
	}
	if w.n == len(w.ring) {
		w.dropOldest()
	}
	w.opened = at
	w.ring[w.index(w.n)] = point{at.Seconds(), v, 1}
	w.n++
	return true
}

// Take adds the points of another window, oldest first: for one of another span.
func (w *Window) Take(other *Window) {
	for i := range other.n {
		p := other.at(i)
		w.Add(time.Duration(p.at*float64(time.Second)), p.value)
	}
}

func (w *Window) dropOldest() {
	w.first = w.index(1)
	w.n--
}

func (w *Window) index(i int) int { return (w.first + i) % len(w.ring) }

func (w *Window) at(i int) point { return w.ring[w.index(i)] }

// Reset forgets every sample, as after a change of range or a gap that makes
// old and new incomparable.
func (w *Window) Reset() { w.first, w.n = 0, 0 }

// Len is the number of points held, each the mean of one or more samples.
func (w *Window) Len() int { return w.n }

// Covered is the time from the oldest point to the newest.
func (w *Window) Covered() time.Duration {
	if w.n < 2 {
		return 0
	}
	return time.Duration((w.at(w.n-1).at - w.at(0).at) * float64(time.Second))
}

// Drop is by how much the count newest points all lie below the count oldest:
// the lowest of those less the highest of these. A step shows in it in full,
// and fewer than count wild points hardly. ok is false under twice count points.
func (w *Window) Drop(count int) (drop float64, ok bool) {
	if count < 1 || w.n < 2*count {
		return 0, false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range count {
		low, high = math.Min(low, w.at(i).value), math.Max(high, w.at(w.n-1-i).value)
	}
	return low - high, true
}

func (w *Window) spread() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range w.n {
		low, high = math.Min(low, w.at(i).value), math.Max(high, w.at(i).value)
	}
	return high - low
}

func (w *Window) mean() float64 {
	sum := 0.0
	for i := range w.n {
		sum += w.at(i).value
	}
	return sum / float64(w.n)
}

// noise is the standard deviation of the points about their course, from the median
// of the steps between neighbours: of normal noise that is 0.6745·√2 of it. Neither a
// slow movement nor a single jump shows in it.
func (w *Window) noise() float64 {
	steps := w.pairs[:0]
	for i := 1; i < w.n && len(steps) < cap(steps); i++ {
		steps = append(steps, math.Abs(w.at(i).value-w.at(i-1).value))
	}
	return quantile(steps, 0.5) / (0.6745 * math.Sqrt2)
}

// restFrom is the time in seconds of the oldest point from which on all points lie
// within a span of values.
func (w *Window) restFrom(span float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	from := w.at(w.n - 1).at
	for i := w.n - 1; i >= 0; i-- {
		p := w.at(i)
		low, high = math.Min(low, p.value), math.Max(high, p.value)
		if high-low > span {
			break
		}
		from = p.at
	}
	return from
}

// Mean is the average of the window with its standard error, which allows for
// autocorrelation as Average does. ok is false under 8 points.
func (w *Window) Mean() (mean, standardError float64, ok bool) {
	if w.n < minAverage {
		return 0, 0, false
	}
	get := func(i int) float64 { return w.at(i).value }
	a := average(w.n, get)
	return a.Mean, a.StandardError, true
}
