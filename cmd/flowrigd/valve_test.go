package main

import (
	"math"
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// While the valve moves, a state is bracketed by the truth over the stated lag,
// or is marked uncertain. The whole sweep is driven: four temperatures, three
// states of the dye each, every hand on the valve, turbulent stretches that pass,
// and heating and cooling between the stages; the short form ends with the heating
// to the second temperature. Every state is judged.
func TestMovingValveIsBracketedOrUncertain(t *testing.T) {
	t.Parallel()
	length, least := 88*time.Minute, 48
	if testing.Short() {
		length, least = 24*time.Minute, 36
	}
	for seed := range uint64(4) {
		v, err := virtualRig("sweep", seed)
		daqtest.Must(t, err)
		b := bracket{lag: v.cfg.Instrument(quantity.Flow).Lag}
		if b.lag <= 0 {
			t.Fatal("rig.toml states no lag of the flow meter")
		}
		for range 5 {
			v.interval() // until every instrument was read
		}
		for v.now < length {
			state := v.interval()
			b.judge(t, v, &state)
			if t.Failed() {
				t.Fatalf("seed %d: the sweep is not looked at further", seed)
			}
		}
		t.Logf("seed %d: %d states bracketed, %d marked uncertain, widest truth over the lag %.0f", seed, b.bracketed, b.uncertain, b.widest)
		// The valve is moved sixteen times in the sweep, for a few seconds each;
		// what is marked outside of that would be timidity.
		if b.uncertain < least || b.uncertain > (b.bracketed+b.uncertain)/4 || b.widest < 500 {
			t.Errorf("seed %d: %d states marked uncertain, %d bracketed, the truth moved by %.0f at most: the test says nothing", seed, b.uncertain, b.bracketed, b.widest)
		}
	}
}

// bracket remembers the truth over the stated lag.
type bracket struct {
	lag                  time.Duration
	truths               []float64
	bracketed, uncertain int
	widest               float64
}

func (b *bracket) judge(t *testing.T, v *virtual, state *daq.State) {
	t.Helper()
	b.truths = append(b.truths, v.truth())
	if over := len(b.truths) - int(b.lag/v.cfg.Interval) - 1; over > 0 {
		b.truths = b.truths[over:]
	}
	low, high := slices.Min(b.truths), slices.Max(b.truths)
	b.widest = math.Max(b.widest, high-low)
	if state.Quality[quantity.Flow].Grade == daq.Uncertain || state.Quality[quantity.Temperature].Grade == daq.Uncertain {
		b.uncertain++
		return
	}
	re, known := state.Values.Get(quantity.Reynolds)
	u, stated := state.Values.Get(quantity.ReynoldsUncertainty)
	b.bracketed++
	if !known || !stated || re < low-u || re > high+u {
		t.Errorf("after %v: Re %.0f ± %.0f (%v, %v), truth %.0f to %.0f, quality %v and %v", v.now, re, u, known, stated,
			low, high, state.Quality[quantity.Flow], state.Quality[quantity.Temperature])
	}
}
