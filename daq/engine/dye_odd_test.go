package engine

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Whatever a rig shows, a value or its uncertainty is a number or it is unknown, and a
// Reynolds number that is told has no uncertainty of 0.
func TestOddStatesAreNumbersOrUnknown(t *testing.T) {
	const noFlow, noTemperature = "accuracy = {of_reading = \"0.5 %\", fixed = \"0.005 L/min\"}\n", "accuracy = {fixed = \"0.5 K\"}\n"
	for name, change := range map[string][]string{
		"plain":                   {},
		"watched at the inlet":    {"watched_at = \"0 mm\"\n", "watched_at = \"0 mm\"\n"},
		"watched at the outlet":   {"watched_at = \"0 mm\"", "watched_at = \"900 mm\""},
		"100 m":                   {"length = \"900 mm\"\nwatched_at = \"0 mm\"", "length = \"100 m\"\nwatched_at = \"99 m\""},
		"a meter that is cooler":  {"unit = \"L/min\"\n", "unit = \"L/min\"\nmeter_fall = \"10 K ± 5 K\"\n"},
		"accuracy not stated":     {noFlow, "meter_fall = \"10 K ± 5 K\"\n", noTemperature, ""},
		"a hot hall":              {"watched_at = \"0 mm\"", "room = \"60 Cel ± 5 K\""},
		"a cold hall, upwards":    {"watched_at = \"0 mm\"", "room = \"-20 Cel ± 5 K\"\norientation = \"vertical-up\""},
		"horizontal":              {"watched_at = \"0 mm\"", "orientation = \"horizontal\""},
		"a level that is weighed": {"[instruments.level]\n", "[instruments.level]\nhydrostatic_at = \"20 Cel\"\n"},
	} {
		t.Run(name, func(t *testing.T) {
			b := benchOf(t, append(change, "[ports.bus]", "[alarms.tube-blocked]\n[ports.bus]")...)
			for _, c := range []struct{ lpm, celsius, millimeters float64 }{
				{1.2, 42, 255}, {0.2, 42, 255}, {0.2, 99.9, 255}, {0.19, 60, 255}, {0, 60, 255}, {1.2, 60, 255},
				{-1.2, 60, 255}, {1.2, 0, 255}, {1.2, -5, 255}, {1.2, 0.5, 255}, {12, 20, 0}, {0.4, 99, 400},
			} {
				b.run(2*time.Second, c.lpm, c.celsius, c.millimeters)
				for id := range quantity.Count {
					v, known := b.state.Values.Get(id)
					u, stated := b.state.U.Get(id)
					if known && (math.IsNaN(v) || math.IsInf(v, 0)) || stated && (math.IsNaN(u) || math.IsInf(u, 0) || u < 0) {
						t.Errorf("%+v: %s is %v, u %v", c, id.Name(), v, u)
					}
				}
				if u, known := b.state.Values.Get(quantity.ReynoldsUncertainty); known && u <= 0 {
					t.Errorf("%+v: Re is known to ± %v", c, u)
				}
			}
			b.fault(quantity.Temperature, daq.ReasonTimeout, "no answer")
			b.at += 3 * time.Second
			b.step(daq.Input{Kind: daq.KindTick})
		})
	}
}

// A level that weighs the water is judged by head-lost as it is read when its
// temperature is not known.
func TestALevelInDoubtIsJudged(t *testing.T) {
	b := benchOf(t, "[instruments.level]\n", "[instruments.level]\nhydrostatic_at = \"20 Cel\"\n")
	b.run(5*time.Second, 1.2, 20, 255)
	for range 100 { // the thermometer is silent, and the supply has failed
		b.at += 200 * time.Millisecond
		b.read(quantity.Flow, 1.2)
		b.read(quantity.Level, 4000+220*40)
		b.step(daq.Input{Kind: daq.KindTick})
	}
	for _, a := range b.state.Alarms {
		if a.Name == "head-lost" && a.Active {
			return
		}
	}
	t.Errorf("alarms %v with the level at %v, %v", b.alarms(), b.value(quantity.Level), b.state.Quality[quantity.Level])
}
