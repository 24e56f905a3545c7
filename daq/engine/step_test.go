package engine

import (
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A command is obeyed after its own step has been computed: the readings of the step
// before may have grown stale since.
func TestACommandSeesTheStateOfItsOwnStep(t *testing.T) {
	b := newHeated(t)
	b.run(5*time.Second, 1.2, 42, 260)
	b.at += 2100 * time.Millisecond // stale_after is 2 s, and no tick has come
	if refusal := b.do(daq.Give, ""); !strings.Contains(refusal, "no good reading for 2.1 s") {
		t.Errorf("the permit was given on old readings: refusal %q", refusal)
	}
}

// The state has the standard uncertainty of what it measures and derives: here the
// maker's limits of error of the rig in testdata, rectangular, by hand.
func TestTheStateHasItsUncertainties(t *testing.T) {
	b := newBench(t)
	b.run(2*time.Minute, 1.2, 42, 260)
	s := b.state
	for _, c := range []struct {
		id   quantity.ID
		want float64
	}{
		{quantity.Flow, (0.005*1.2 + 0.005) / 60000 / math.Sqrt(3)},
		{quantity.Temperature, 0.5 / math.Sqrt(3)},
		{quantity.Level, 0.002 / math.Sqrt(3)},
		{quantity.Head, 0.002 / math.Sqrt(3)},
	} {
		if u, known := s.U.Get(c.id); !known || math.Abs(u/c.want-1) > 1e-6 {
			t.Errorf("u(%s) = %v, %v, want %v", c.id.Name(), u, known, c.want)
		}
	}
	u, _ := s.U.Get(quantity.Reynolds)
	if expanded := b.value(quantity.ReynoldsUncertainty); math.Abs(2*u-expanded) > 1e-9*expanded {
		t.Errorf("u(Re) = %v, and the state says U = %v", u, expanded)
	}
	if _, known := s.U.Get(quantity.TemperatureRate); !known {
		t.Error("the temperature's rate has no uncertainty")
	}
	b.at += time.Minute
	b.step(daq.Input{Kind: daq.KindTick})
	if u, known := b.state.U.Get(quantity.Flow); known {
		t.Errorf("the flow is unknown and has u = %v", u)
	}
}

// A heater whose contact has failed is not known to be on, though the permit is given:
// that the water does not warm says nothing of the probe then.
func TestAFailedContactIsNoHeating(t *testing.T) {
	for _, c := range []struct {
		name   string
		failed bool
	}{{"the contact works", false}, {"the contact has failed", true}} {
		b := newHeated(t)
		b.off = true
		b.run(5*time.Second, 1.2, 15, 260)
		if refusal := b.do(daq.Give, ""); refusal != "" {
			t.Fatal(refusal)
		}
		b.run(time.Second, 1.2, 15, 260)
		b.off, b.dead = false, map[quantity.ID]bool{quantity.HeaterOn: c.failed}
		b.run(6*time.Minute, 1.2, 15, 260)
		raised := false
		for _, a := range b.state.Alarms {
			raised = raised || a.Name == "temperature-implausible"
		}
		if raised == c.failed {
			t.Errorf("%s: temperature-implausible %v", c.name, raised)
		}
	}
}
