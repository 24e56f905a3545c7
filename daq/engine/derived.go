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

// The slope of the temperature is taken over the last minute; over more where the
// thermometer is read so rarely that a minute does not hold the readings that it takes.
const (
	slopeWindow   = time.Minute
	slopePoints   = 120
	slopeReadings = 8
	regimeHold    = time.Second
)

// derived holds what the derived quantities remember between steps.
type derived struct {
	pipe      *pipe.Pipe
	warned    pipe.Warnings
	certified []config.Instrument // those with a certificate
	overdue   int                 // how many of them had to be calibrated again when warned
	warnings  []string
	band      *regime.Tracker
	limits    config.Regime // of the band
	every     time.Duration // between two readings of the thermometer
	lag       float64       // s, of the thermometer
	slope     *series.Window
	rate      temperatureRate
	steady    steadiness
	way       onTheWay
	tube      pipe.Tube         // of the last state
	loss      pipe.Loss         // of this state; K is 0 where it is unknown
	room      uncertainty.Value // °C, as it is stated
	meterFall uncertainty.Value // K from the tube's outlet to the meter; none is stated where both are 0
	overheat  float64           // Cel
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
		every:    cfg.Every(quantity.Temperature),
		steady:   newSteadiness(cfg),
		way:      onTheWay{length: cfg.Tube.WatchedAt.X},
		room:     cfg.Tube.Room,
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
	if in := cfg.Instrument(quantity.Flow); in != nil {
		r.meterFall = in.MeterFall
	}
	return r, nil
}

// inherit keeps what was seen over time through a reload; where a window has another
// length now, its points.
func (r *derived) inherit(old *derived) {
	if r.limits == old.limits {
		r.band = old.band
	}
	r.rate, r.tube = old.rate, old.tube
	if r.every == old.every {
		r.slope = old.slope
	} else {
		r.slope.Take(old.slope)
	}
	length := r.way.length
	r.way = old.way // by distance run, wherever the dye is watched
	r.way.length = length
	r.steady.inherit(&old.steady)
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
	fresh := in.Kind == daq.KindReading && m[in.Reading.Instrument].Quality.Usable() && in.Reading.Reason == ""
	inputs := pipe.Inputs{
		Flow:        input(m[quantity.Flow]),
		Temperature: r.addLag(input(m[quantity.Temperature]), m[quantity.Temperature].Quality),
		Level:       input(m[quantity.Level]),
		Ambient:     input(m[quantity.Ambient]),
		Meter:       input(m[quantity.Meter]),
	}
	r.doubtRoom(&inputs, s)
	r.follow(&inputs, s.Mono, fresh && in.Reading.Instrument == quantity.Temperature)
	r.assumeMeter(&inputs)
	result := r.pipe.Derive(inputs, &s.Values)
	r.tube, r.loss, s.U = result.Tube, result.Loss, result.U
	for _, id := range s.Instruments {
		if m[id].Quality.Usable() {
			s.U.Put(id, m[id].StandardU())
		}
	}
	s.Warnings = r.warn(result.Warnings, in.Wall)
	r.track(s)
	if fresh {
		r.addToWindows(in.Reading.Instrument, in.Reading.At, m[in.Reading.Instrument].Value)
	}
	r.slopes(s)
	r.steady.judge(s, result.Settling)
}

// doubtRoom takes the stated room, with twice its uncertainty, in place of a thermometer
// that shows no room: one in the sun, or fallen into the tank, or broken.
func (r *derived) doubtRoom(in *pipe.Inputs, s *daq.State) {
	const coldest, warmRoom, noRoom, near = -20, 30, 45, 2 // °C, °C, °C, K; common practice, no source
	shown := in.Ambient.X
	inTank := shown > warmRoom && in.Temperature.Known && shown > in.Temperature.X-near
	if !in.Ambient.Known || !(shown > noRoom || shown < coldest || inTank) {
		return
	}
	in.Ambient = pipe.Input{Value: r.room, Known: true}
	in.Ambient.U *= 2
	why := "no room is as warm as that: it may lie in the sun, or in the tank; the room of the configuration is taken"
	if shown < coldest {
		why = "no room is as cold as that: check the sensor; the room of the configuration is taken"
	}
	if s.Quality[quantity.Ambient].Grade == daq.Good {
		s.Quality[quantity.Ambient] = daq.Quality{Grade: daq.Uncertain, Why: why}
	}
}

// follow takes the water on its way from the inlet to the dye a step further.
func (r *derived) follow(in *pipe.Inputs, now time.Duration, fresh bool) {
	velocity := r.pipe.Velocity(in.Flow.X)
	r.way.move(now, velocity, in.Flow.Known)
	switch {
	case !in.Temperature.Known:
		r.way.forget()
		return
	case fresh, r.way.n == 0: // the reading that stands is all that is known of the inlet
		r.way.enter(in.Temperature.X)
	}
	if in.Flow.Known {
		in.OnTheWay = r.way.warmer(in.Temperature.X, velocity, in.Flow.StandardU()/in.Flow.X, r.tube.FallToDye)
	}
}

// assumeMeter gives the water in the meter the temperature of the tube's outlet less
// what the configuration states, where no instrument measures it.
func (r *derived) assumeMeter(in *pipe.Inputs) {
	if in.Meter.Known || r.meterFall == (uncertainty.Value{}) || !in.Temperature.Known {
		return
	}
	outlet := in.Temperature.X
	if !math.IsNaN(r.tube.Fall) {
		outlet -= r.tube.Fall
	}
	in.Meter = pipe.Input{Known: true, OtherU: in.Temperature.StandardU()}
	in.Meter.X, in.Meter.U, in.Meter.Shape = outlet-r.meterFall.X, r.meterFall.U, r.meterFall.Shape
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
func (r *derived) addToWindows(id quantity.ID, at time.Duration, value float64) {
	r.steady.add(id, at, value)
	if id == quantity.Temperature && r.slope.Add(at, value) {
		perSecond, se, ok := r.slope.Slope()
		r.rate = temperatureRate{perSecond, se, ok}
	}
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
		s.Values.Put(quantity.SecondsToOverheat, toMilliseconds(max(0, (r.overheat-t)/r.rate.slope)))
	}
}

// toMilliseconds rounds seconds to come: none is known closer, and a recording keeps them
// in half the bytes.
func toMilliseconds(s float64) float64 { return math.Round(s*1000) / 1000 }
