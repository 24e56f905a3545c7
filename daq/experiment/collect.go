package experiment

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/collection"
	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
	"flowrigd/daq"
)

// vessels are the materials whose expansion is known, 1/K.
var vessels = map[string]float64{
	"borosilicate": collection.BorosilicateExpansion, "soda-lime": collection.SodaLimeExpansion,
	"steel": collection.StainlessExpansion, "polypropylene": collection.PolypropyleneExpansion,
}

// Where nothing is said of the vessel: it may be of glass or of plastic, and as warm as
// the water within a few kelvin (common practice, no source).
const (
	vesselExpansionLimit = 1e-4 // 1/K, half-width
	vesselTemperatureU   = 2.0  // K, standard uncertainty
)

// collect holds water caught against the meter over the same seconds.
func (n *Notebook) collect(a *daq.CollectAsk, s *daq.State, who string) (*daq.Collection, error) {
	c := &daq.Collection{Time: s.Time, Who: who, Vessel: a.Vessel}
	list, err := n.seconds(a, s, c)
	if err != nil {
		return nil, err
	}
	caught, err := flowOf(a, s, c)
	if err != nil {
		return nil, err
	}
	values, known := column(list, quantity.Flow)
	if !known {
		return nil, errors.New("the meter did not read throughout these seconds: collect again while it does")
	}
	metered, ok := series.AverageOf(values)
	if !ok {
		return nil, errors.New("too few readings of the meter within these seconds: collect for about 30 s or longer")
	}
	against, err := caught.Against(collection.Metered{
		Flow: uncertainty.Value{X: metered.Mean, U: metered.StandardError}, DoF: metered.DegreesOfFreedom, Limit: n.meterLimit(metered.Mean)})
	if err != nil {
		return nil, err
	}
	c.Collected, c.CollectedU = caught.Flow.X, 2*caught.Flow.U
	c.Metered, c.MeteredU = metered.Mean, 2*metered.StandardError
	c.Factor, c.FactorU, c.Verdict = against.Factor.X, 2*against.Factor.U, against.Verdict.String()
	return c, nil
}

// seconds are the intervals of the meter that a collection is held against.
func (n *Notebook) seconds(a *daq.CollectAsk, s *daq.State, c *daq.Collection) ([]interval, error) {
	timed := !a.Start.IsZero() || !a.Stop.IsZero()
	switch {
	case timed && a.Seconds != 0:
		return nil, daq.Wrong{Err: errors.New("time and start with stop: give one of them, not both")}
	case timed && (a.Start.IsZero() || a.Stop.IsZero() || !a.Stop.After(a.Start)):
		return nil, daq.Wrong{Err: errors.New("start and stop: both must be there, and stop after start")}
	case !timed && a.Seconds <= 0:
		return nil, daq.Wrong{Err: errors.New(`time: how long was the water caught? give start and stop, or time, such as "30 s"`)}
	}
	if !timed {
		if steady, known := s.Values.Get(quantity.Steady); !known || steady == 0 {
			return nil, errors.New("the rig is not steady, and time alone says not when the water was caught: give start and stop, or collect again when it is steady")
		}
		c.Seconds, c.Stop = a.Seconds, s.Time
		c.Start = s.Time.Add(-time.Duration(a.Seconds * float64(time.Second)))
		return between(n.past.ordered(), s.Mono-n.window(), s.Mono), nil
	}
	c.Start, c.Stop, c.Seconds = a.Start.UTC(), a.Stop.UTC(), a.Stop.Sub(a.Start).Seconds()
	from, to := s.Mono-s.Time.Sub(a.Start), s.Mono-s.Time.Sub(a.Stop)
	oldest, known := n.past.oldest()
	switch {
	case a.Stop.After(s.Time.Add(time.Second)):
		return nil, fmt.Errorf("stop: %s is not over yet; it is %s", daq.FormatTime(a.Stop), daq.FormatTime(s.Time))
	case !known || from < oldest-n.cfg.Interval:
		return nil, fmt.Errorf("start: %s is too long ago: what the meter said is at hand for %g min at most, and since the program began", daq.FormatTime(a.Start), pastSpan.Minutes())
	}
	return between(n.past.ordered(), from, to), nil
}

// flowOf is the flow by what was caught.
func flowOf(a *daq.CollectAsk, s *daq.State, c *daq.Collection) (collection.Result, error) {
	id := waterTemperature(s)
	celsius, known := s.Values.Get(id)
	if !known {
		return collection.Result{}, errors.New("the water's temperature is not known: collect again when it is")
	}
	meter, expansion := water.Density(celsius)
	u, _ := s.U.Get(id)
	meterDensity := uncertainty.Value{X: meter, U: math.Abs(meter * expansion * u)}
	switch timing := collection.ByHand(c.Seconds); {
	case (a.Volume == nil) == (a.Mass == nil):
		return collection.Result{}, daq.Wrong{Err: errors.New(`volume and mass: give one of them, such as "volume":"200 mL" or "mass":"199 g"`)}
	case a.Mass != nil:
		c.Mass, c.MassUncertainty = given(a.Mass)
		return collection.ByWeight{Gross: *a.Mass, Water: meterDensity, Timing: timing}.Flow()
	default:
		c.Volume, c.VolumeUncertainty = given(a.Volume)
		by := collection.ByVolume{Volume: *a.Volume, Temperature: uncertainty.Value{X: celsius, U: vesselTemperatureU},
			Expansion: uncertainty.Limits(0, vesselExpansionLimit), Timing: timing}
		if a.Vessel != "" {
			x, ok := vessels[a.Vessel]
			if !ok {
				return collection.Result{}, daq.Wrong{Err: fmt.Errorf("vessel: %q is no material known here; write one of %s, or leave it out", a.Vessel, strings.Join(slices.Sorted(maps.Keys(vessels)), ", "))}
			}
			by.Expansion = uncertainty.Value{X: x}
		}
		if t := a.VesselTemperature; t != nil {
			if t.X < 0 || t.X > 100 {
				return collection.Result{}, daq.Wrong{Err: fmt.Errorf("vessel temperature: %g Cel is not that of water; write 0 to 100 Cel", t.X)}
			}
			c.VesselTemperature = &t.X
			density, expansion := water.Density(t.X)
			by.Temperature, by.MeterDensity = *t, meterDensity
			by.Density = uncertainty.Value{X: density, U: math.Abs(density * expansion * t.U)}
		}
		return by.Flow()
	}
}

// given is what a person stated, with its expanded uncertainty.
func given(v *uncertainty.Value) (x, expanded *float64) {
	u := 2 * v.U
	return &v.X, &u
}

// meterLimit is the maker's limit of error of the flow meter, m³/s; 0 where none is
// stated.
func (n *Notebook) meterLimit(flow float64) float64 {
	in := n.cfg.Instrument(quantity.Flow)
	if in == nil || in.Accuracy == nil {
		return 0
	}
	span := 0.0
	switch {
	case in.Range != nil:
		span = in.Range.High - in.Range.Low
	case in.Scale != nil:
		span = math.Abs(in.Scale.To[1] - in.Scale.To[0])
	}
	return in.Accuracy.OfReading*flow + in.Accuracy.OfSpan*span + in.Accuracy.Fixed
}
