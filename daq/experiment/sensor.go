package experiment

import (
	"fmt"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// When the light through the tube writes an observation by itself (common practice, no
// source): at most one a minute, which is what the share of torn thread is taken over;
// of a flow that was one all the minute; and only where the thread does something else
// than at the last one, or Re is another.
const (
	sensorEvery = time.Minute
	sensorMoved = 0.02 // of Re, from one half of the minute to the other
	stillBelow  = 0.05 // share of torn thread
	tornAbove   = 0.95
)

// sensor is the last look at what the light shows.
type sensor struct {
	at   time.Duration // monotonic
	re   float64       // of the last observation; 0 before the first
	band quantity.Band
}

// Watch looks at what the light through the tube shows, and gives the observation that it
// makes, or nothing. It judges nobody's: it contradicts none.
func (n *Notebook) Watch(s *daq.State) []daq.Event {
	share, watched := s.Values.Get(quantity.DisturbedFraction)
	if !s.Tick || !watched || s.Mono-n.sensor.at < sensorEvery {
		return nil
	}
	n.sensor.at = s.Mono
	list := between(n.past.ordered(), s.Mono-sensorEvery, s.Mono)
	before, known := average(list[:len(list)/2], quantity.Reynolds)
	after, knownToo := average(list[len(list)/2:], quantity.Reynolds)
	if !known || !knownToo || math.Abs(after/before-1) > sensorMoved {
		return nil
	}
	re, band := (before+after)/2, bandSeen(share)
	if band == n.sensor.band && math.Abs(re/n.sensor.re-1) <= approachShare {
		return nil
	}
	n.sensor.re, n.sensor.band = re, band
	return []daq.Event{{Observation: &daq.Observation{
		Time: s.Time, Seen: band.String(), Sensor: true, Approach: n.approach(s.Mono), Conditions: conditions(s),
		Note: fmt.Sprintf("torn for %.0f %% of a minute", 100*share),
	}}}
}

// bandSeen is what a share of torn thread looks like.
func bandSeen(share float64) quantity.Band {
	switch {
	case share < stillBelow:
		return quantity.Laminar
	case share > tornAbove:
		return quantity.Turbulent
	}
	return quantity.Transitional
}

// conditions are those of an observation in a state.
func conditions(s *daq.State) daq.Conditions {
	return daq.Conditions{
		Reynolds: value(s, quantity.Reynolds), ReynoldsUncertainty: value(s, quantity.ReynoldsUncertainty),
		TubeTemperature: value(s, quantity.TubeTemperature), Flow: value(s, quantity.Flow),
		DisturbedFraction: value(s, quantity.DisturbedFraction), Temperature: value(s, quantity.Temperature)}
}
