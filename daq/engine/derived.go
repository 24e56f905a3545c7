package engine

import (
	"fmt"
	"math"
	"strings"
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/regime"
	"flowrigd/calc/series"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
)

// The windows over time: the slope of the temperature is taken over the last
// minute, and so is steadiness; over more where an instrument is read so rarely
// that a minute does not hold the readings that it takes.
const (
	slopeWindow    = time.Minute
	slopePoints    = 120
	slopeReadings  = 8
	steadyWindow   = time.Minute
	steadyReadings = 30
	regimeHold     = time.Second
)

// steadyOf are the quantities that must be stationary.
var steadyOf = [...]quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level}

// derived holds what the derived quantities remember between steps.
type derived struct {
	pipe      *pipe.Pipe
	warned    pipe.Warnings
	certified []config.Instrument // those with a certificate
	overdue   int                 // how many of them had to be calibrated again when warned
	warnings  []string
	band      *regime.Tracker
	limits    config.Regime                 // of the band
	every     [quantity.Count]time.Duration // between two readings
	lag       float64                       // s, of the thermometer
	slope     *series.Window
	rate      temperatureRate
	steady    [len(steadyOf)]*series.Steady
	isSteady  [len(steadyOf)]bool
	within    [len(steadyOf)]float64 // the movement that does not matter to each
	overheat  float64                // Cel
}

// temperatureRate is the slope of the temperature over its window.
type temperatureRate struct {
	slope, standardError float64 // K/s
	known                bool
}

func newDerived(cfg *config.Config) (*derived, error) {
	p, err := pipe.New(cfg.Physics())
	if err != nil {
		return nil, err
	}
	r := &derived{
		pipe:     p,
		limits:   cfg.Regime,
		band:     regime.New(cfg.Regime.LaminarBelow, cfg.Regime.TurbulentAbove, regimeHold),
		slope:    series.NewWindow(max(slopeWindow, slopeReadings*cfg.Every(quantity.Temperature)), slopePoints),
		overheat: overheatLimit(cfg),
	}
	if in := cfg.Instrument(quantity.Temperature); in != nil {
		r.lag = in.Lag.Seconds()
	}
	for _, in := range cfg.Instruments {
		if in.Calibration != nil {
			r.certified = append(r.certified, in)
		}
	}
	for i, id := range steadyOf {
		r.every[id], r.within[i] = cfg.Every(id), within(cfg, id)
		r.steady[i] = series.NewSteady(series.SteadyConfig{Within: r.within[i], Span: max(steadyWindow, steadyReadings*r.every[id])})
	}
	return r, nil
}

// within is the movement over a minute that does not matter for a test point,
// and covers the resolution of usual instruments: 0.1 K, 1 mm, and a thousandth
// of the meter's range (common practice, no source).
func within(cfg *config.Config, id quantity.ID) float64 {
	switch id {
	case quantity.Temperature:
		return 0.1
	case quantity.Level:
		return 0.001
	}
	if in := cfg.Instrument(id); in != nil && in.Range != nil {
		return 0.001 * in.Range.High
	}
	return 0
}

// inherit keeps what was seen over time through a reload; where a window has another
// length now, its points.
func (r *derived) inherit(old *derived) {
	if r.limits == old.limits {
		r.band = old.band
	}
	r.rate = old.rate
	if r.every[quantity.Temperature] == old.every[quantity.Temperature] {
		r.slope = old.slope
	} else {
		r.slope.Take(old.slope)
	}
	for i, id := range steadyOf {
		if r.every[id] == old.every[id] && r.within[i] == old.within[i] {
			r.steady[i], r.isSteady[i] = old.steady[i], old.isSteady[i]
		} else {
			r.steady[i].Take(old.steady[i])
			r.isSteady[i] = r.steady[i].Condition() == series.Still
		}
	}
}

func overheatLimit(cfg *config.Config) float64 {
	for _, a := range cfg.Alarms {
		if a.Name == "water-overheat" && a.Above != nil {
			return *a.Above
		}
	}
	return 75 // Cel, the contract's default
}

func (r *derived) derive(s *daq.State, m *[quantity.Count]channel.Measured, in *daq.Input) {
	result := r.pipe.Derive(pipe.Inputs{
		Flow:        input(m[quantity.Flow]),
		Temperature: r.addLag(input(m[quantity.Temperature]), m[quantity.Temperature].Quality),
		Level:       input(m[quantity.Level]),
		Ambient:     input(m[quantity.Ambient]),
	}, &s.Values)
	s.U = result.U
	for _, id := range s.Instruments {
		if m[id].Quality.Usable() {
			s.U.Put(id, m[id].StandardU())
		}
	}
	s.Warnings = r.warn(result.Warnings, in.Wall)
	r.track(s)
	r.addToWindows(s, m, in)
	r.slopes(s)
	r.steadiness(s)
}

// addLag adds what a thermometer lags while the water warms or cools slowly: the
// rate over the last minute times its time constant, where the rate is larger
// than three times its doubt. What a channel sees of faster motion it has added
// itself; the same lag does not count twice.
func (r *derived) addLag(t pipe.Input, q daq.Quality) pipe.Input {
	if q.Grade == daq.Good && r.rate.known && math.Abs(r.rate.slope) > 3*r.rate.standardError {
		t.OtherU = max(t.OtherU, math.Abs(r.rate.slope)*r.lag)
	}
	return t
}

// warn gives the warnings as sentences, a fresh slice only when they changed.
func (r *derived) warn(w pipe.Warnings, wall time.Time) []string {
	overdue := 0
	for i := range r.certified {
		if r.certified[i].Calibration.Overdue(wall) {
			overdue++
		}
	}
	if w == r.warned && overdue == r.overdue {
		return r.warnings
	}
	r.warned, r.overdue, r.warnings = w, overdue, nil
	if text := w.String(); text != "" {
		r.warnings = strings.Split(text, "; ")
	}
	for _, in := range r.certified {
		if c := in.Calibration; c.Overdue(wall) {
			r.warnings = append(r.warnings, fmt.Sprintf("the calibration of %s is overdue since %s", in.Name, c.Date.Add(c.Due).Format(time.DateOnly)))
		}
	}
	return r.warnings
}

func input(m channel.Measured) pipe.Input {
	value := uncertainty.Value{X: m.Value, U: m.DominantU, Shape: m.Shape}
	return pipe.Input{Value: value, OtherU: m.OtherU, Known: m.Quality.Usable()}
}

// track keeps the regime's word from flickering at a limit.
func (r *derived) track(s *daq.State) {
	re, _ := s.Values.Get(quantity.Reynolds)
	u, known := s.Values.Get(quantity.ReynoldsUncertainty)
	if !known {
		u = math.NaN() // nothing is clearly past a limit: the hold alone acts
	}
	band := r.band.Step(s.Values.Band(), re, u, s.Mono)
	s.Values.Put(quantity.Regime, float64(band))
}

// addToWindows gives a fresh reading to the windows over time.
func (r *derived) addToWindows(s *daq.State, m *[quantity.Count]channel.Measured, in *daq.Input) {
	if in.Kind != daq.KindReading || !m[in.Reading.Instrument].Quality.Usable() || in.Reading.Reason != "" {
		return
	}
	id, at := in.Reading.Instrument, in.Reading.At
	for i, q := range steadyOf {
		if q == id {
			r.isSteady[i] = r.steady[i].Add(at, m[id].Value)
		}
	}
	if id != quantity.Temperature || !r.slope.Add(at, m[id].Value) {
		return
	}
	r.rate.slope, r.rate.standardError, r.rate.known = r.slope.Slope()
}

// slopes gives the temperature's rate over the last minute.
func (r *derived) slopes(s *daq.State) {
	if _, known := s.Values.Get(quantity.Temperature); !known {
		r.slope.Reset()
		r.rate = temperatureRate{}
	}
	if !r.rate.known {
		return
	}
	s.Values.Put(quantity.TemperatureRate, r.rate.slope)
	s.U.Put(quantity.TemperatureRate, r.rate.standardError)
}

// countDown gives the time to the overheat limit, which there is only while the
// rise is larger than its own doubt (k = 2), and while the newest readings rise
// too: water that has begun to cool has risen over the last minute as well.
func (r *derived) countDown(s *daq.State, newest *plausibility) {
	t, known := s.Values.Get(quantity.Temperature)
	if known && r.rate.known && r.rate.slope > 2*r.rate.standardError && newest.hasSlope && newest.slope > 0 {
		s.Values.Put(quantity.SecondsToOverheat, max(0, (r.overheat-t)/r.rate.slope))
	}
}

// steadiness says whether all three are steady; unknown while one of them is.
func (r *derived) steadiness(s *daq.State) {
	all := true
	for i, id := range steadyOf {
		if _, known := s.Values.Get(id); !known {
			r.steady[i].Reset()
			r.isSteady[i] = false
			return
		}
		all = all && r.isSteady[i]
	}
	s.Values.PutBool(quantity.Steady, all)
}
