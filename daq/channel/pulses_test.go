package channel

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

func pulseMeter() config.Instrument {
	return config.Instrument{
		ID: quantity.Flow, Name: "flow", Every: 200 * time.Millisecond, StaleAfter: 2 * time.Second,
		Pulses:   &config.Pulses{PerCubicMeter: 1420e3, Bits: 16, Window: 2 * time.Second},
		Accuracy: &config.Accuracy{OfReading: 0.01},
	}
}

func count(at time.Duration, n uint64) daq.Reading {
	return daq.Reading{Instrument: quantity.Flow, Number: float64(n), Count: n, At: at}
}

// Oracle: flow ÷ pulses per volume, by hand: 28.4 pulses a second at 1420 per
// litre are 1.2 L/min.
func TestPulsesWrapAndRate(t *testing.T) {
	c := New(pulseMeter())
	for i := range 100 {
		at := time.Duration(i) * 200 * time.Millisecond
		n := uint64(65000+28.4*at.Seconds()) & 0xFFFF
		c.Take(count(at, n), nil)
		m := c.At(at)
		if i < 10 {
			continue
		}
		// One pulse in the window of 2 s is 0.5 pulses a second.
		if math.Abs(m.Value/lpm-1.2) > 0.5/28.4*1.2 || m.Quality.Grade != daq.Good {
			t.Fatalf("at %v: %v L/min, %v", at, m.Value/lpm, m.Quality)
		}
		want := math.Hypot(0.01*m.Value/math.Sqrt(3), 1/(1420e3*2)/math.Sqrt(6))
		if !near(m.StandardU(), want, 1e-9) {
			t.Fatalf("U = %v, want %v", m.StandardU(), want)
		}
	}
}

func TestPulsesZeroFlow(t *testing.T) {
	c := New(pulseMeter())
	stop := 5 * time.Second
	for at := time.Duration(0); at <= 10*time.Second; at += 200 * time.Millisecond {
		c.Take(count(at, uint64(28.4*min(at, stop).Seconds())), nil)
		m := c.At(at)
		if at >= stop+2200*time.Millisecond && m.Value != 0 {
			t.Fatalf("%v after the last pulse: %v L/min", at-stop, m.Value/lpm)
		}
	}
}

func TestPulsesRestartAndSilence(t *testing.T) {
	c := New(pulseMeter())
	c.Take(count(0, 5000), nil)
	c.Take(count(200*time.Millisecond, 5006), nil)
	c.Take(count(400*time.Millisecond, 0), nil)
	if m := c.At(400 * time.Millisecond); m.Reason != daq.ReasonStep || m.Quality.Grade != daq.Uncertain {
		t.Errorf("a counter that restarts: %v, %q", m.Quality, m.Reason)
	}
	c.Take(count(600*time.Millisecond, 6), nil)
	if m := c.At(600 * time.Millisecond); m.Quality.Grade != daq.Good || m.Value < lpm {
		t.Errorf("after the restart: %v, %v", m.Value/lpm, m.Quality)
	}
	// Ten minutes of silence: the count may have wrapped any number of times.
	c.Take(count(10*time.Minute, 40000), nil)
	if m := c.At(10 * time.Minute); m.Quality.Usable() {
		t.Errorf("a rate over a silence: %v, %v", m.Value/lpm, m.Quality)
	}
}

func TestPulsesUncertaintyIsOfTheCount(t *testing.T) {
	// The spread of the count over a window against the stated 1/√6 pulse, over
	// all phases of a steady train (27.3 pulses a window).
	in := pulseMeter()
	in.Accuracy = &config.Accuracy{}
	var sum, square, n, u float64
	for phase := range 1000 {
		c := New(in)
		for i := range 11 {
			at := time.Duration(i) * 200 * time.Millisecond
			c.Take(count(at, uint64(13.65*at.Seconds()+float64(phase)/1000)), nil)
		}
		m := c.At(2 * time.Second)
		d := (m.Value*1420e3 - 13.65) * 2 // pulses
		sum, square, n, u = sum+d, square+d*d, n+1, m.DominantU*1420e3*2
	}
	sd := math.Sqrt(square/n - (sum/n)*(sum/n))
	if sd > 1.25*u || sd < 0.9*u {
		t.Errorf("spread %v pulses, stated %v", sd, u)
	}
}

// A pulse meter at a steady flow is not "moving" because a pulse fell into a
// window or not. The share of readings that are not good, over flows and phases.
func TestSteadyPulsesDoNotMove(t *testing.T) {
	for _, perLitre := range []float64{700, 1420, 10000} {
		for _, percent := range []float64{0.5, 1, 2} {
			doubtful, all := 0, 0
			for flow := 0.5; flow <= 4.5; flow += 0.17 {
				c := New(config.Instrument{
					ID: quantity.Flow, Name: "flow", Every: 200 * time.Millisecond, StaleAfter: 2 * time.Second,
					Pulses:   &config.Pulses{PerCubicMeter: perLitre * 1000, Bits: 16, Window: 2 * time.Second},
					Range:    &config.Range{Low: 0.2 * lpm, High: 12 * lpm},
					Accuracy: &config.Accuracy{OfReading: percent / 100},
				})
				perSecond := flow / 60 * perLitre
				for n := range 300 {
					at := time.Duration(n) * 200 * time.Millisecond
					c.Take(count(at, uint64(1000+perSecond*at.Seconds()+flow)&0xFFFF), nil)
					if n < 20 {
						continue
					}
					all++
					if c.At(at).Quality.Grade != daq.Good {
						doubtful++
					}
				}
			}
			t.Logf("%g pulses a litre, %g %%: %d of %d readings doubtful", perLitre, percent, doubtful, all)
			if doubtful > all/1000 {
				t.Errorf("%g pulses a litre, %g %%: %d of %d readings doubtful", perLitre, percent, doubtful, all)
			}
		}
	}
}
