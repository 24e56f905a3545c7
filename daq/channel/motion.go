package channel

import (
	"math"
	"slices"
	"time"

	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

// motionPoints is how many readings the noise is judged by, and motionEvery
// after how many it is judged anew.
const (
	motionPoints = 64
	motionEvery  = 8
)

// The significance that a slope needs, in standard deviations: less while the
// noise is taken from the maker's limits, more once it is judged from readings.
const (
	sureByMaker    = 4.5
	sureByReadings = 6
)

// motion tells whether a value moves faster than its sensor follows. A sensor
// of first order with the time constant lag is behind by slope·lag.
type motion struct {
	lag   float64 // s; 0: not stated
	span  float64 // of the range, for a value without a stated accuracy
	digit float64 // standard uncertainty of counting pulses; 0 without
	bare  bool    // a certificate stands in place of the maker's limits, and covers no scatter of single readings
	at    [motionPoints]float64
	value [motionPoints]float64
	n     int     // readings so far; the last motionPoints are kept
	sigma float64 // standard deviation of the noise; 0: not judged yet
}

func newMotion(in config.Instrument) motion {
	lag := in.Lag
	if in.Pulses != nil {
		lag += in.Pulses.Window / 2 // a mean over a window is half of it late
	}
	c := convert{in: in}
	o := motion{lag: lag.Seconds(), span: c.span(), bare: in.Calibration != nil}
	if in.Pulses != nil {
		o.digit = 1 / (in.Pulses.PerCubicMeter * in.Pulses.Window.Seconds()) / math.Sqrt(6)
	}
	return o
}

// add takes a value, and adds to its uncertainty what the readings themselves
// show: their scatter, and what the sensor lags behind while the value moves. A
// value that moves so fast that it is behind by more than the maker's limit of
// error is doubtful. half is that limit.
func (o *motion) add(at time.Duration, m *Measured, half float64) {
	o.at[o.n%motionPoints], o.value[o.n%motionPoints] = at.Seconds(), m.Value
	o.n++
	if math.IsNaN(half) || half <= 0 {
		half = 0.01 * max(math.Abs(m.Value), o.span)
	}
	behind := o.behind(half)
	m.widen(o.scatter(half), uncertainty.Normal)
	m.widen(behind, uncertainty.Normal)
	if behind > half {
		m.doubt("", "moving; the reading lags by up to %s", daq.Seconds(time.Duration(o.lag*float64(time.Second))))
	}
}

// scatter is the type A part of the uncertainty of one reading (JCGM 100:2008,
// 4.2):
//
//	scatter² = max(0, σ² − (half/√12)² − (3·digit)²)
//
// σ is the readings' standard deviation about their course, not that of a mean,
// for a state uses the newest reading alone. Subtracted is what is already
// counted: half of the standard uncertainty half/√3 of the maker's limit of error,
// for that covers what instruments of the make scatter, and the steps of counting
// pulses, which look like up to three times their standard uncertainty digit in
// neighbouring windows. So an instrument as its maker describes it gets nothing on
// top. A certificate covers no scatter: half is 0 there.
func (o *motion) scatter(half float64) float64 {
	if o.n < 2*motionEvery {
		return 0
	}
	if o.bare {
		half = 0
	}
	within := math.Hypot(half/math.Sqrt(12), 3*o.digit)
	return math.Sqrt(max(0, o.sigma*o.sigma-within*within))
}

// behind is the largest slope·lag that stands out of the noise, over the last
// 1, 2, 4 and 8 steps; 0 when the value stands still.
func (o *motion) behind(half float64) float64 {
	noise, sure := max(half/math.Sqrt(3), 2*o.digit), sureByMaker
	if o.n%motionEvery == 0 {
		o.sigma = o.noise(min(o.n, motionPoints))
	}
	if o.n >= motionEvery {
		noise, sure = max(o.sigma, half/20, 2*o.digit), sureByReadings
	}
	worst := 0.0
	for steps := 1; steps <= 8 && steps < o.n; steps *= 2 {
		slope, weight, span := o.slope(steps)
		if steps > 1 && span > 3*o.lag {
			break // the sensor has caught up with what was before
		}
		late := math.Abs(slope) * o.lag
		if math.Abs(slope)*weight > sure*noise {
			worst = max(worst, late)
		}
	}
	return worst
}

// get is the reading i before the newest.
func (o *motion) get(i int) (at, value float64) {
	k := (o.n - 1 - i) % motionPoints
	return o.at[k], o.value[k]
}

// slope is the least-squares slope over the last steps; its standard deviation
// is that of the noise divided by weight.
func (o *motion) slope(steps int) (slope, weight, span float64) {
	count := float64(steps + 1)
	var meanT, meanV float64
	for i := range steps + 1 {
		t, v := o.get(i)
		meanT += t / count
		meanV += v / count
	}
	var tt, tv float64
	for i := range steps + 1 {
		t, v := o.get(i)
		tt += (t - meanT) * (t - meanT)
		tv += (t - meanT) * (v - meanV)
	}
	if tt == 0 {
		return 0, 0, 0
	}
	newest, _ := o.get(0)
	oldest, _ := o.get(steps)
	return tv / tt, math.Sqrt(tt), newest - oldest
}

// noise is the standard deviation of the last n readings about their course,
// from the median size of their second differences: a ramp and a few jumps do
// not enter. For normal noise that median is 0.6745·√6 standard deviations.
func (o *motion) noise(n int) float64 {
	var buffer [motionPoints]float64
	second := buffer[:0]
	equal, least := 0, math.Inf(1)
	for i := range n - 2 {
		_, a := o.get(i)
		_, b := o.get(i + 1)
		_, c := o.get(i + 2)
		second = append(second, math.Abs(a-2*b+c))
		if a == b {
			equal++
		} else {
			least = min(least, math.Abs(a-b))
		}
	}
	slices.Sort(second)
	sigma := second[len(second)/2] / (0.6745 * math.Sqrt(6))
	if 3*equal >= len(second) && !math.IsInf(least, 1) {
		sigma = max(sigma, least/2) // a coarse number that stands mostly still: its digit is the noise
	}
	return sigma
}
