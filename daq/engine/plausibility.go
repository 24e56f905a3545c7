package engine

import (
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/daq"
)

// The judgements below rest on a bench of common size (a tank of some eight
// litres, a supply of a few litres a minute, a heater of some 9 kW); each figure
// is common practice without a source unless its reason is given.
const (
	// respondWithin is how long the heater may run, with water flowing past the
	// probe, before the temperature must have risen by respondBy. Only a start
	// from cold water is judged: a thermostat that holds a temperature heats as
	// well, and nothing rises.
	respondWithin = 5 * time.Minute
	respondBy     = 1.0  // K
	coldBelow     = 30.0 // Cel: a probe in the air reads less, heated water more

	// fallWindow is the time over which a fall is judged, or fallReadings times
	// the time between readings where that is more; fallHold is how long a fall
	// is remembered: a probe in the air soon stops falling. In less than
	// fallLeast the noise of a thermocouple of 1.5 K looks like a fall.
	fallWindow = 8 * time.Second
	fallLeast  = 6 * time.Second
	fallPoints = 24
	fallEnds   = 4 // most points at each end of the window
	fallHold   = time.Minute

	fallReadings = 4

	// stillRising is the slope, K/s, that a tank shows only while it is heated:
	// 9 kW into 20 litres are 0.1 K/s.
	stillRising = 0.05
)

// plausibility watches whether the temperature can be that of the water: the probe
// out of the tube shows as a fall that no tank can make, or as no answer to
// heating.
type plausibility struct {
	short     *series.Window
	ends      int     // points that are compared at each end of it
	mean      float64 // of the short window
	hasMean   bool    // there is a mean
	slope, se float64 // K/s over the short window
	hasSlope  bool
	fellAt    time.Duration
	fell      bool

	heating          bool
	wasOff           bool          // it was seen off: only a start that was seen is judged
	startTemperature float64       // temperature when the heater came on
	heated           time.Duration // with flow, since then
	responded        bool          // the temperature has risen since
	unresponsive     bool          // no response
	last             time.Duration
}

// newPlausibility watches a thermometer that is read once every so often.
func newPlausibility(every time.Duration) *plausibility {
	window := max(fallWindow, fallReadings*every)
	readings := window / max(every, 1)
	return &plausibility{short: series.NewWindow(window, fallPoints), ends: int(min(readings/2, fallEnds))}
}

// paced goes on with a thermometer that is read at another pace.
func (p *plausibility) paced(every time.Duration) *plausibility {
	next, other := *p, newPlausibility(every)
	next.short, next.ends = other.short, other.ends
	next.short.Take(p.short)
	return &next
}

// look takes a state after a step; on says whether the heater is on, where that
// is known. While its contact has only to be asked yet what is known of heating
// stands.
func (p *plausibility) look(s *daq.State, in *daq.Input, maxFall float64, on, sure bool) {
	t, known := s.Values.Get(quantity.Temperature)
	if !known {
		p.short.Reset()
		p.hasSlope, p.hasMean, p.heating, p.wasOff = false, false, false, false
		p.last = s.Mono
		return
	}
	p.falls(s, in, t, maxFall)
	if p.hasMean {
		t = p.mean // a single reading of a noisy probe rises by chance
	}
	if sure || s.Quality[quantity.HeaterOn].Grade != daq.Missing {
		p.responds(s, t, on, sure)
	}
	p.last = s.Mono
}

func (p *plausibility) falls(s *daq.State, in *daq.Input, t, maxFall float64) {
	if in.Kind == daq.KindReading && in.Reading.Instrument == quantity.Temperature && in.Reading.Reason == "" {
		p.short.Add(in.Reading.At, t)
		p.slope, p.se, p.hasSlope = p.short.Slope()
		p.mean, _, p.hasMean = p.short.Mean()
		if p.short.Covered() >= fallLeast && p.falling(maxFall) {
			p.fell, p.fellAt = true, s.Mono
		}
	}
	if p.fell && s.Mono-p.fellAt > fallHold {
		p.fell = false
	}
}

// falling sees a slow fall by its slope, and a fast one, which bends too much
// to have one, by what it has dropped.
func (p *plausibility) falling(maxFall float64) bool {
	drop, ok := p.short.Drop(p.ends)
	return p.hasSlope && p.slope+2*p.se < -maxFall || ok && drop > maxFall*p.short.Covered().Seconds()
}

// responds counts heating time only while water flows past the probe: a shut
// tube valve is normal preheating.
func (p *plausibility) responds(s *daq.State, t float64, on, sure bool) {
	switch {
	case !sure:
		p.heating, p.wasOff = false, false // what comes next is no start that was seen
		return
	case !on:
		p.heating, p.wasOff, p.unresponsive = false, true, false
		return
	case !p.heating:
		p.heating, p.startTemperature, p.heated, p.responded = true, t, 0, !p.wasOff || t >= coldBelow
	}
	if band := s.Values.Band(); band != quantity.NoFlow && band != quantity.Unknown {
		p.heated += s.Mono - p.last
	}
	p.startTemperature = math.Min(p.startTemperature, t)
	p.responded = p.responded || t-p.startTemperature >= respondBy
	p.unresponsive = !p.responded && p.heated >= respondWithin
}

// rising says whether the temperature rises as only a heated tank does.
func (p *plausibility) rising() bool {
	return p.hasSlope && p.slope-2*p.se > stillRising
}
