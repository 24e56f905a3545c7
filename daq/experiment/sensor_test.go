package experiment

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// watched plays a stretch at one Re with the light's share, and gives what it wrote down.
func (b *bench) watched(length time.Duration, re, share float64) (list []*daq.Observation) {
	b.run(length, re, func(s *daq.State) {
		if !math.IsNaN(share) {
			s.Values.Put(quantity.DisturbedFraction, share)
		}
		for _, e := range b.n.Watch(s) {
			list = append(list, e.Observation)
		}
	})
	return list
}

// TestTheLightWritesObservations by itself: marked as the sensor's, nobody's, with their
// conditions; once as long as thread and Re are what they were, and again when either has
// changed.
func TestTheLightWritesObservations(t *testing.T) {
	b := newBench(t)
	step := func(name string, length time.Duration, re, share float64, want ...string) {
		t.Helper()
		list := b.watched(length, re, share)
		if len(list) != len(want) {
			t.Fatalf("%s: %d observations, want %d", name, len(list), len(want))
		}
		for i, o := range list {
			if o.Seen != want[i] || !o.Sensor || o.Who != "" || *o.DisturbedFraction != share || math.Abs(*o.Reynolds/re-1) > 0.01 || *o.TubeTemperature != 25 || o.ReynoldsUncertainty == nil || !o.Contradicts.IsZero() {
				t.Errorf("%s: %+v", name, o)
			}
		}
	}
	step("the light says nothing", 3*time.Minute, 1500, math.NaN())
	step("still", 5*time.Minute, 1500, 0, "laminar")
	step("a little more", 3*time.Minute, 1530, 0)
	step("more", 3*time.Minute, 1600, 0.04, "laminar")
	step("torn now and then", 3*time.Minute, 1600, 0.05, "transitional")
	step("torn more", 3*time.Minute, 1600, 0.95)
	step("torn", 3*time.Minute, 1600, 0.96, "turbulent")
	if list := b.watched(3*time.Minute, 2400, 1); len(list) != 1 || list[0].Approach != "rising" {
		t.Errorf("after Re has risen: %+v", list)
	}
}

// TestTheLightWritesNothingOfAMovingFlow: Re goes up by 1 % in ten seconds, and a minute of
// it has no value.
func TestTheLightWritesNothingOfAMovingFlow(t *testing.T) {
	b := newBench(t)
	b.watched(2*time.Minute, 1500, 0)
	for re := 1600.0; re < 2200; re *= 1.01 {
		if list := b.watched(10*time.Second, re, 0.5); len(list) > 0 {
			t.Fatalf("Re %.0f: %+v", re, list[0])
		}
	}
}

// TestAPersonIsNotHeldAgainstTheLight: what the light wrote contradicts nobody. A test
// point has what it shows, until a person has looked: then theirs.
func TestAPersonIsNotHeldAgainstTheLight(t *testing.T) {
	b := newBench(t)
	if list := b.watched(2*time.Minute, 1500, 1); len(list) != 1 || list[0].Seen != "turbulent" {
		t.Fatalf("%+v", list)
	}
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Observed != "turbulent" {
		t.Errorf("a test point that the light alone looked at: %q", p.Observed)
	}
	b.s.Values.Put(quantity.DisturbedFraction, 0.5) // which is of the last minute already: a mean would be of two
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Observed != "transitional" {
		t.Errorf("a share of 0.5 after a minute of 1: %q", p.Observed)
	} else if m := meanOf(p, quantity.DisturbedFraction); m.Value == nil || *m.Value != 0.5 {
		t.Errorf("a share of 0.5 after a minute of 1: the test point has %+v", m)
	}
	if o := b.must(&daq.ObserveAsk{Seen: "laminar"}).Observation; !o.Contradicts.IsZero() || o.Sensor {
		t.Errorf("%+v", o)
	}
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Observed != "laminar" {
		t.Errorf("a test point that a person has looked at: %q", p.Observed)
	}
}
