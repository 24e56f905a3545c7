package rigsim

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq/daqtest"
)

// when advances a rig until something holds and says when that was.
func when(t *testing.T, s *Sim, limit time.Duration, holds func() bool) time.Duration {
	t.Helper()
	for at := time.Duration(0); at <= limit; at += 100 * time.Millisecond {
		if holds() {
			return at
		}
		s.Advance(100 * time.Millisecond)
	}
	t.Fatalf("%s: nothing within %v", s.story.name, limit)
	return 0
}

// within fails unless a time lies between two others.
func within(t *testing.T, what string, at, low, high time.Duration) {
	t.Helper()
	if at < low || at > high {
		t.Errorf("%s after %v, want %v to %v", what, at, low, high)
	}
}

func TestSteadyStaysSteady(t *testing.T) {
	s := newSim(t, Options{Seed: 3})
	for range 60 {
		s.Advance(10 * time.Second)
		near(t, "Reynolds number", s.plant.reynolds(), 6000, 0.01)
		near(t, "temperature", s.plant.tank.celsius, 42, 0.005)
	}
}

func TestOverheatPasses75(t *testing.T) {
	s := newSim(t, Options{Scenario: "overheat", Seed: 1})
	if s.plant.tank.celsius > 69 {
		t.Errorf("starts at %.1f °C", s.plant.tank.celsius)
	}
	at := when(t, s, 5*time.Minute, func() bool { return s.plant.tank.celsius > 75 })
	within(t, "75 °C", at, 30*time.Second, 3*time.Minute) // the supply warms the upper water first
}

func TestHeadLossEmptiesTheTank(t *testing.T) {
	s := newSim(t, Options{Scenario: "head-loss", Seed: 1})
	at := when(t, s, 2*time.Minute, func() bool { return s.plant.tank.level < stated.lip-0.020 })
	within(t, "20 mm below the lip", at, 10*time.Second, time.Minute)
	at = when(t, s, 10*time.Minute, func() bool { return s.plant.tube.velocity < 1e-3 })
	within(t, "an empty tank", at, 10*time.Second, 5*time.Minute)
	if l := s.plant.tank.level; l < 0 || math.IsNaN(l) {
		t.Errorf("level %v in an empty tank", l)
	}
}

// With the valve shut the head stays: only the missing supply shows.
func TestDryHeatingKeepsTheHead(t *testing.T) {
	s := newSim(t, Options{Scenario: "dry-heating", Seed: 1})
	at := when(t, s, 2*time.Minute, func() bool { return s.plant.heater.outlet > 90 })
	within(t, "90 °C in the heater", at, 31*time.Second, 75*time.Second)
	if low := stated.lip - s.plant.tank.level; low > 0.010 {
		t.Errorf("the level has fallen %.0f mm below the lip", low*1e3)
	}
	if s.plant.supply > minimumSupply {
		t.Error("the supply still runs")
	}
}

func TestProbeOutReadsTheRoom(t *testing.T) {
	s := newSim(t, Options{Scenario: "probe-out", Seed: 1})
	s.Advance(90 * time.Second)
	near(t, "what the probe feels", s.sensor(quantity.Temperature).state, s.plant.room, 0.01)
	near(t, "the water", s.plant.tank.celsius, 42, 0.01)
}

func TestBlockedTubeChokes(t *testing.T) {
	s := newSim(t, Options{Scenario: "blocked-tube", Seed: 1})
	before := s.plant.flow()
	s.Advance(6 * time.Minute) // one after it begins, when the rig is known without
	if s.plant.flow() > 0.7*before {
		t.Errorf("flow %.3g of %.3g m³/s with the tube blocked", s.plant.flow(), before)
	}
	near(t, "level", s.plant.tank.level, stated.lip, 0.03)
}

func TestCablePullRepeats(t *testing.T) {
	s := newSim(t, Options{Scenario: "cable-pull", Seed: 1})
	for i, want := range []bool{true, false, true, false, true} {
		s.Advance(5 * time.Second)
		if got := s.lines[lineTC].in.Load(); got != want {
			t.Errorf("after %d s the cable is in: %v", 10*i+5, got)
		}
		s.Advance(5 * time.Second)
	}
}

func TestFrozenLevelHidesTheLoss(t *testing.T) {
	s := newSim(t, Options{Scenario: "frozen-sensor", Seed: 1})
	s.Advance(11 * time.Second)
	level := func() float64 { return s.Readings(0)[2].Number }
	held := level()
	s.Advance(time.Minute)
	if level() != held || s.plant.tank.level > stated.lip-0.050 {
		t.Errorf("the sensor says %v, then %v; true level %.3f m", held, level(), s.plant.tank.level)
	}
}

func TestFailedSensorsSaySo(t *testing.T) {
	s := newSim(t, Options{Scenario: "level-failed", Seed: 1})
	s.Advance(11 * time.Second)
	if got := s.Readings(0)[2].Number; got != levelFailed {
		t.Errorf("a failed level transmitter says %v", got)
	}
	s = newSim(t, Options{Scenario: "open-sensor", Seed: 1})
	s.Advance(11 * time.Second)
	if got := string(s.hearTC(s.lines[lineTC], []byte("T?\r"))[0].bytes); got != "T=OPEN\r\n" {
		t.Errorf("an open thermocouple says %q", got)
	}
}

func TestWeldedRelayHeatsOn(t *testing.T) {
	s := newSim(t, Options{Scenario: "relay-welded", Seed: 1, Relay: true})
	within(t, "75 °C", when(t, s, 5*time.Minute, func() bool { return s.plant.tank.celsius > 75 }), 30*time.Second, 3*time.Minute)
	s = newSim(t, Options{Scenario: "overheat", Seed: 1, Relay: true})
	s.Advance(3 * time.Minute)
	if s.plant.tank.celsius > 60 {
		t.Errorf("%.1f °C though the permit was never given", s.plant.tank.celsius)
	}
}

// The sweep visits its twelve points, and the demonstrator sees in the thread what
// he has turned the valve for. Where it is torn half of the time, ten seconds may
// show him one state alone, as on a real rig: in nine looks of ten he sees both.
func TestSweepVisitsEveryRegime(t *testing.T) {
	daqtest.Counts(t)
	both, looks := 0, 0
	for seed := range uint64(8) {
		var seen []quantity.Band
		s := newSim(t, Options{Scenario: "sweep", Seed: seed, Observe: func(o Observation) { seen = append(seen, o.Seen) }})
		for i, stage := range sweepStages() {
			s.Advance(3 * time.Minute)
			near(t, fmt.Sprintf("seed %d: temperature of stage %d", seed, i), s.plant.tank.celsius, stage.celsius, 0.02)
			s.Advance(sweepStage - 3*time.Minute)
		}
		if len(seen) != 3*len(sweepStages()) {
			t.Fatalf("seed %d: %d looks", seed, len(seen))
		}
		for i, band := range seen {
			switch want := []quantity.Band{quantity.Laminar, quantity.Transitional, quantity.Turbulent}[i%3]; {
			case want == quantity.Transitional:
				looks++
				if band == want {
					both++
				}
			case band != want:
				t.Errorf("seed %d, look %d: %v, want %v", seed, i, band, want)
			}
		}
	}
	if both < looks*8/10 {
		t.Errorf("the thread was seen torn and whole in %d of %d looks at the threshold", both, looks)
	}
}

// The head must stay constant through the whole sweep, or the demo would raise
// an alarm of its own making.
func TestSweepKeepsTheHead(t *testing.T) {
	s := newSim(t, Options{Scenario: "sweep", Seed: 1})
	for range 2 * len(sweepStages()) * int(sweepStage/time.Second) {
		s.Advance(time.Second)
		if l := s.plant.tank.level - s.plant.lip; l < 0 {
			t.Fatalf("the overflow ran dry by %.1f mm", -l*1e3)
		}
		if s.plant.heater.outlet > 74 || s.plant.tank.celsius > 70 {
			t.Fatalf("outlet %.1f °C, tank %.1f °C", s.plant.heater.outlet, s.plant.tank.celsius)
		}
	}
}

// The same seed gives the same rig and the same numbers, another seed another.
func TestSeed(t *testing.T) {
	read := func(seed uint64) [3]float64 {
		s := newSim(t, Options{Scenario: "sweep", Seed: seed})
		s.Advance(70 * time.Second)
		r := s.Readings(0)
		return [3]float64{r[0].Number, r[1].Number, r[2].Number}
	}
	if read(5) != read(5) {
		t.Error("one seed, two rigs")
	}
	if read(5) == read(6) {
		t.Error("two seeds, one rig")
	}
}

func TestUnknownScenario(t *testing.T) {
	_, err := New(Options{Scenario: "stedy"})
	if err == nil || !strings.Contains(err.Error(), "steady") {
		t.Errorf("an unknown scenario gives %v, want the list", err)
	}
	if _, err := New(Options{Speed: -1}); err == nil {
		t.Error("a speed of -1 is taken")
	}
}

// A suspended process makes up for a quarter of a second and no more.
func TestCatchUp(t *testing.T) {
	for _, c := range []struct {
		name   string
		passed time.Duration
		speed  float64
		want   time.Duration
	}{
		{"a beat", 20 * time.Millisecond, 1, 20 * time.Millisecond},
		{"ten times as fast", 20 * time.Millisecond, 10, 200 * time.Millisecond},
		{"suspended for an hour", time.Hour, 1, 250 * time.Millisecond},
	} {
		if got := due(c.passed, c.speed); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Over many seeds the errors of the instruments fill the makers' limits and
// never leave them; the geometry's standard deviation is half the stated
// expanded uncertainty.
func TestDraws(t *testing.T) {
	const n = 2000
	var share, bore float64
	for seed := range uint64(n) {
		s := newSim(t, Options{Seed: seed})
		for _, in := range s.sensors {
			if math.Abs(in.share) > 1 {
				t.Fatalf("seed %d: an error of %.2f limits", seed, in.share)
			}
		}
		share += s.sensors[0].share * s.sensors[0].share
		d := (s.plant.bore - stated.bore) / (stated.boreU / 2)
		bore += d * d
	}
	// A rectangle has variance 1/3 (JCGM 100, 4.3.7), a standardised normal 1;
	// the estimates scatter by 2 and 3 % for 2000 draws.
	near(t, "variance of the errors", share/n, 1.0/3, 0.08)
	near(t, "variance of the bore", bore/n, 1, 0.12)
}

// The catalogue's limits and rig.toml's text are the same thing twice.
func TestCatalogueAgreesWithConfig(t *testing.T) {
	s := newSim(t, Options{Scenario: "sweep"})
	c := daqtest.Config(t, string(s.Config()))
	for _, in := range s.sensors {
		stated := c.Instrument(in.id)
		if stated.Lag != 0 {
			near(t, in.id.Short()+" lag", stated.Lag.Seconds(), in.response, 1e-9)
		}
		if a := stated.Accuracy; a != nil {
			if math.Abs(a.OfReading-in.ofReading) > 1e-12 || math.Abs(a.Fixed-in.fixed) > 1e-12 {
				t.Errorf("%s: limits %v and %v, in rig.toml %+v", in.id.Short(), in.ofReading, in.fixed, *a)
			}
		} else if quantity.Table[in.id].Kind == quantity.Number {
			t.Errorf("%s states no accuracy", in.id.Short())
		}
	}
}

func BenchmarkAdvanceSweep(b *testing.B) {
	s := newSim(b, Options{Scenario: "sweep"})
	for b.Loop() {
		s.Advance(maxStep)
	}
}
