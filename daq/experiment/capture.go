package experiment

import (
	"fmt"
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/daq"
)

// A test point is averaged over the window in which steadiness is judged: a minute, or
// 30 readings of the slowest instrument that must be steady. By hand it may be less,
// from captureLeast on.
const (
	captureSpan     = time.Minute
	captureReadings = 30
	captureLeast    = 10 * time.Second
	captureSamples  = 8 // of which a standard error can be told
)

func (n *Notebook) window() time.Duration {
	span := captureSpan
	for _, id := range [...]quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level} {
		span = max(span, captureReadings*n.cfg.Every(id))
	}
	return span
}

// Capture is a test point of the last minute. One that is captured while something
// speaks against it says so, and is kept.
func (n *Notebook) Capture(s *daq.State, who, point string) (*daq.TestPoint, error) {
	list := between(n.past.ordered(), s.Mono-n.window(), s.Mono)
	seconds := 0.0
	if len(list) > 1 {
		seconds = (list[len(list)-1].at - list[0].at).Seconds() + n.cfg.Interval.Seconds()
	}
	if seconds < captureLeast.Seconds() || len(list) < captureSamples {
		return nil, fmt.Errorf("only %.1f s are known yet: wait until %g s are, and capture again", seconds, captureLeast.Seconds())
	}
	p := &daq.TestPoint{Time: s.Time, Who: who, Experiment: n.experiment(), Point: point, Seconds: math.Round(seconds*1e3) / 1e3, Computed: quantity.Unknown.String()}
	for i, id := range daq.PointQuantities {
		p.Means[i] = mean(list, id, s)
	}
	if re := p.Means[slices.Index(daq.PointQuantities[:], quantity.Reynolds)].Value; re != nil {
		p.Computed = n.band(*re).String()
	} else if s.Values.Band() == quantity.NoFlow {
		p.Computed = quantity.NoFlow.String()
	}
	p.Observed, p.Spoilt = n.observed(p, s), n.spoiltWithin(s, list[0].at)
	if n.run != nil {
		p.Repeat = n.run.file(point, p.Spoilt)
	}
	return p, nil
}

// band is the regime by a mean Re against the two limits.
func (n *Notebook) band(re float64) quantity.Band {
	switch {
	case re < n.cfg.Regime.LaminarBelow:
		return quantity.Laminar
	case re > n.cfg.Regime.TurbulentAbove:
		return quantity.Turbulent
	}
	return quantity.Transitional
}

// spoiltWithin says what speaks against a test point that began then; "" for nothing.
func (n *Notebook) spoiltWithin(s *daq.State, from time.Duration) string {
	steady, known := s.Values.Get(quantity.Steady)
	switch {
	case n.spoiltBy != "" && n.spoiltAt >= from:
		return n.spoiltBy + " within its seconds"
	case !known:
		return "flow, temperature or level is not known"
	case steady == 0:
		return "not steady"
	}
	return ""
}

// mean is a quantity over the intervals. The instruments' part of the expanded
// uncertainty is that of now: it does not average out.
func mean(list []interval, id quantity.ID, s *daq.State) (m daq.Mean) {
	if id == quantity.DisturbedFraction {
		return lastShare(s)
	}
	values, known := column(list, id)
	if !known {
		return m
	}
	a, ok := series.AverageOf(values)
	if !ok {
		return m
	}
	m.Value, m.StandardError = &a.Mean, &a.StandardError
	if u, stated := s.U.Get(id); stated {
		expanded := 2 * math.Hypot(u, a.StandardError)
		m.Expanded = &expanded
	}
	return m
}

// lastShare is the torn share of the last minute as it stands: a mean of such shares would
// reach back another minute, into what the flow was before.
func lastShare(s *daq.State) (m daq.Mean) {
	share, known := s.Values.Get(quantity.DisturbedFraction)
	if !known {
		return m
	}
	m.Value = &share
	if u, stated := s.U.Get(quantity.DisturbedFraction); stated {
		expanded := 2 * u
		m.StandardError, m.Expanded = &u, &expanded
	}
	return m
}
