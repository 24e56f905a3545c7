package channel

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

func thermocoupleK() config.Instrument {
	return config.Instrument{
		ID: quantity.Temperature, Name: "temperature", Every: 500 * time.Millisecond, StaleAfter: 2 * time.Second,
		Unit:         &config.Unit{Text: "mV", Factor: 1},
		Accuracy:     &config.Accuracy{Fixed: 1.5},
		Thermocouple: &config.Thermocouple{Type: "K", ColdJunction: &uncertainty.Value{X: 20, U: 1}},
	}
}

// Oracle: type K of NIST Monograph 175: E(20) = 0.7981197 mV, E(60) = 2.4364716
// mV, E(30) = 1.2032747 mV; Seebeck coefficients 40.329 and 41.421 µV/K at 20 and
// 60 Cel (values computed with the polynomials, agreeing with the printed table).
func TestChannelThermocouple(t *testing.T) {
	m := takeOne(thermocoupleK(), 2.4364716-0.7981197)
	if math.Abs(m.Value-60) > 1e-4 || m.Quality.Grade != daq.Good {
		t.Errorf("%v Cel, %v", m.Value, m.Quality)
	}
	if want := math.Hypot(1.5/math.Sqrt(3), 40.329/41.421); !near(m.StandardU(), want, 1e-4) || m.Shape != uncertainty.Normal {
		t.Errorf("U = %v (%v), want %v", m.StandardU(), m.Shape, want)
	}
	if m := takeOne(thermocoupleK(), 1000); m.Quality.Usable() || m.Reason != daq.ReasonRange {
		t.Errorf("1 V: %v, %q", m.Quality, m.Reason)
	}
}

func TestChannelColdJunctionOfAnotherInstrument(t *testing.T) {
	in := thermocoupleK()
	in.Thermocouple = &config.Thermocouple{Type: "K", From: quantity.Ambient}
	cases := []struct {
		name  string
		other Measured
		known bool
		grade daq.Grade
	}{
		{"good", Measured{Value: 30, DominantU: 0.3, Quality: daq.Quality{Grade: daq.Good}}, true, daq.Good},
		{"doubtful", Measured{Value: 30, DominantU: 0.3, Quality: daq.Quality{Grade: daq.Uncertain, Why: "old"}}, true, daq.Uncertain},
		{"bad", Measured{Value: math.NaN(), Quality: daq.Quality{Grade: daq.Bad, Why: "no answer"}}, true, daq.Bad},
		{"not configured", Measured{}, false, daq.Bad},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			channel := New(in)
			channel.Take(clean(in.ID, time.Second, 2.4364716-1.2032747), func(id quantity.ID) (Measured, bool) {
				if id != quantity.Ambient {
					t.Errorf("asked for %v", id.Short())
				}
				return c.other, c.known
			})
			m := channel.At(time.Second)
			if m.Quality.Grade != c.grade && (c.grade != daq.Bad || m.Quality.Usable()) {
				t.Fatalf("%v", m.Quality)
			}
			if c.grade >= daq.Uncertain && math.Abs(m.Value-60) > 1e-4 {
				t.Errorf("%v Cel", m.Value)
			}
		})
	}
}
