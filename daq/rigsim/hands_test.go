package rigsim

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// handled is a calm rig with hands, 10 s of its own old.
func handled(t *testing.T, scenario string) (*Sim, *clock.Clock) {
	t.Helper()
	c := clock.NewFast(1)
	s, err := New(Options{Clock: c, Seed: 3, Calm: true, Scenario: scenario, Relay: true, Bypass: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Advance(10 * time.Second)
	return s, c
}

func do(t *testing.T, s *Sim, h daq.Hands) {
	t.Helper()
	if err := s.Hand(h); err != nil {
		t.Fatal(err)
	}
}

func of[T any](v T) *T { return &v }

// The valve moves the flow as the energy equation says: H = v²/2g·(α + K + f·L/D), K of
// the opening asked for, f and α of Colebrook and the turbulent profile; and the valve
// turns by a twentieth of its travel a second.
func TestTheValveByHandMovesTheFlow(t *testing.T) {
	s, _ := handled(t, "steady")
	for _, opening := range []float64{1, 0.75} {
		was := s.Simulator().Opening
		do(t, s, daq.Hands{Valve: &opening})
		s.Advance(time.Second)
		if moved := s.Simulator().Opening - was; math.Abs(math.Abs(moved)-0.05) > 1e-9 {
			t.Errorf("in a second the valve turned by %v", moved)
		}
		s.Advance(40 * time.Second)
		p := s.plant
		v, nu := p.tube.velocity, viscosityAt(p.way.at(p.length/2, p.room))
		re := v * p.bore / nu
		f := friction(re, p.roughness/p.bore, true)
		head := v * v / (2 * gravity) * (kinetic(true) + entranceLoss + valveOpenLoss*math.Pow(valveRange, 2*(1-opening)) + f*p.length/p.bore)
		if want := p.tank.level + p.drop; math.Abs(head-want) > 0.002*want {
			t.Errorf("opening %v: head %.4f m is used up, there are %.4f m", opening, head, want)
		}
	}
	if now := s.Simulator(); now.Scenario != "" {
		t.Errorf("scenario %q goes on beside the hand", now.Scenario)
	}
}

func TestTheThermostatAndTheTapByHand(t *testing.T) {
	s, _ := handled(t, "steady")
	do(t, s, daq.Hands{Heater: of(50.0), Supply: of(3.0 * litreAMinute)})
	s.Advance(10 * time.Minute)
	truth := s.Truth().Values
	if at, _ := truth.Get(quantity.HeaterOutlet); math.Abs(at-50) > 0.5 {
		t.Errorf("the outlet is at %.2f °C, want 50", at)
	}
	if supply, _ := truth.Get(quantity.SupplyFlow); math.Abs(supply/litreAMinute-3) > 0.01 {
		t.Errorf("the supply is %.3f L/min, want 3", supply/litreAMinute)
	}
	if at, _ := truth.Get(quantity.Temperature); at < 48 {
		t.Errorf("the water follows to %.2f °C only", at)
	}
	do(t, s, daq.Hands{Dye: of(false)})
	s.Advance(time.Second)
	truth = s.Truth().Values
	if light, _ := truth.Get(quantity.DyeLight); light != clearLight || s.Simulator().Dye {
		t.Errorf("without dye the light is %v", light)
	}
}

// All of it or nothing: what is wrong is said, and nothing is turned.
func TestHandsCheckAllFirst(t *testing.T) {
	s, c := handled(t, "sweep")
	before := s.Simulator()
	good := daq.Hands{Valve: of(0.5), Supply: of(1e-5), Heater: of(30.0), Dye: of(false), Scenario: of("steady"), Speed: of(10.0), Pause: of(true)}
	for says, spoil := range map[string]func(*daq.Hands){
		"valve: 1.1 is out of range; write 0 to 1":                            func(h *daq.Hands) { h.Valve = of(1.1) },
		"valve: NaN is out of range":                                          func(h *daq.Hands) { h.Valve = of(math.NaN()) },
		"supply: 11 L/min is out of range; write 0 to 10 L/min":               func(h *daq.Hands) { h.Supply = of(11 * litreAMinute) },
		"heater: 81 Cel is out of range; write 0 to 80 Cel":                   func(h *daq.Hands) { h.Heater = of(81.0) },
		"speed: 0.05 is out of range; write 0.1 to 1000":                      func(h *daq.Hands) { h.Speed = of(0.05) },
		`scenario "nonsense": unknown; write one of steady, sweep, night, ov`: func(h *daq.Hands) { h.Scenario = of("nonsense") },
	} {
		h := good
		spoil(&h)
		if err := s.Hand(h); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
	after := s.Simulator()
	after.Scenarios, before.Scenarios = nil, nil
	if speed, paused := c.Pace(); speed != 1 || paused || after.Valve != before.Valve || after.Supply != before.Supply ||
		after.Heater != before.Heater || !after.Dye || after.Scenario != "sweep" {
		t.Errorf("from %+v to %+v", before, after)
	}
	do(t, s, good)
	if speed, paused := c.Pace(); speed != 10 || !paused {
		t.Errorf("speed %v, paused %v", speed, paused)
	}
	alone, err := New(Options{})
	if err != nil {
		t.Fatal(err)
	}
	if alone.Hand(daq.Hands{}) == nil {
		t.Error("a rig with a clock of its own has hands")
	}
}

// A scenario begins from the present state: the water keeps its temperature and the
// heater its heat; what an earlier one broke is mended; its moves count from now. What a
// person turns in a mishap does not end it.
func TestAScenarioBeginsFromThePresentState(t *testing.T) {
	s, _ := handled(t, "level-failed")
	s.Advance(10 * time.Second)
	level := s.sensor(quantity.Level)
	was := s.plant.tank.celsius
	if !level.failed {
		t.Fatal("the level has not failed")
	}
	do(t, s, daq.Hands{Scenario: of("overheat"), Valve: of(0.7)})
	if level.failed || s.plant.tank.celsius != was || s.plant.heater.stuck {
		t.Errorf("failed %v, %v °C from %v, stuck %v", level.failed, s.plant.tank.celsius, was, s.plant.heater.stuck)
	}
	s.Advance(4 * time.Second)
	if s.plant.heater.stuck {
		t.Error("the thermostat sticks before its time")
	}
	s.Advance(2 * time.Second)
	if now := s.Simulator(); !s.plant.heater.stuck || now.Scenario != "overheat" || now.Valve != 0.7 {
		t.Errorf("stuck %v, %+v", s.plant.heater.stuck, now)
	}
	for _, broken := range []string{"relay-welded", "blocked-tube", "probe-out", "cable-pull", "noise", "frozen-sensor", "open-sensor", "steady"} {
		do(t, s, daq.Hands{Scenario: &broken})
		s.Advance(12 * time.Second)
	}
	p := s.plant
	if p.relay.welded || p.tube.blockedTo != 0 || p.heater.stuck || p.heater.cutOut || !s.lines[lineTC].in.Load() ||
		s.lines[lineBus].faults.Rate != [faultCount]float64{} || slices.ContainsFunc(s.sensors, func(in *sensor) bool { return in.frozen || in.failed || in.withdraw }) {
		t.Errorf("something stays broken: %+v", p.relay)
	}
}

// A pause holds the rig, and a change of speed neither skips nor repeats any of its time.
func TestTheRigFollowsTheSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _ := handled(t, "steady")
		began := s.at
		pass := func(d time.Duration) {
			for end := time.Now().Add(d); time.Now().Before(end); {
				time.Sleep(beat)
				s.follow()
			}
		}
		pass(time.Second)
		do(t, s, daq.Hands{Speed: of(60.0)})
		pass(time.Second)
		do(t, s, daq.Hands{Pause: of(true)})
		pass(time.Second)
		do(t, s, daq.Hands{Pause: of(false), Speed: of(1.0)})
		pass(time.Second)
		if got := s.at - began; got != 62*time.Second {
			t.Errorf("the rig went on by %v, want 62 s", got)
		}
	})
}

// A scenario that is begun with cold water does not draw more than the tap gives: the
// level stays above the lip less 20 mm, where head-lost would be raised.
func TestAScenarioOnColdWaterKeepsItsHead(t *testing.T) {
	s, _ := handled(t, "steady")
	s.plant.relay = relay{}
	s.Advance(time.Hour)
	if at := s.plant.tank.celsius; at > 25 {
		t.Fatalf("the water is at %v °C", at)
	}
	do(t, s, daq.Hands{Scenario: of("overheat")})
	for range 20 {
		s.Advance(time.Minute)
		if low := s.plant.lip - s.plant.tank.level; low > 0.015 {
			t.Fatalf("the level is %.0f mm below the lip", low*1e3)
		}
	}
}

// What is set by hand holds from now, not for the time since the rig was looked at last.
func TestAHandHoldsFromNow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, _ := handled(t, "steady")
		s.follow()
		was := s.Simulator().Opening
		time.Sleep(200 * time.Millisecond)
		do(t, s, daq.Hands{Valve: of(1.0)})
		s.follow()
		if got := s.Simulator().Opening; got != was {
			t.Errorf("the valve has turned from %v to %v in no time", was, got)
		}
	})
}
