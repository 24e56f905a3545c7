package rigsim

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/engine"
)

// watchPlan is watch with more tables in the configuration.
func watchPlan(t testing.TB, s *Sim, more string) *watched {
	t.Helper()
	cfg, problems := config.Parse("rig.toml", append(s.Config(), more...))
	if cfg == nil {
		t.Fatal(problems)
	}
	e, err := engine.New(cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	w := &watched{sim: s, engine: e}
	w.step(e.Begin())
	return w
}

// Every point of the sweep becomes steady before the valve is turned again, laminar,
// torn half of the time and turbulent, at each temperature; and until then what is
// waited for is said. One rig, four with -long; its first temperature with -short.
func TestEveryPointOfTheSweepBecomesSteady(t *testing.T) {
	t.Parallel()
	seeds := 1
	if *long {
		seeds = 4
	}
	for seed := range seeds {
		w := watchPlan(t, newSim(t, Options{Scenario: "sweep", Seed: uint64(seed) + 1}), "")
		stages := len(sweepStages())
		if testing.Short() {
			stages = 1
		}
		for point := range 3 * stages {
			stage, nth := point/3, point%3
			until := time.Duration(stage)*sweepStage + time.Duration(nth+1)*sweepPoint
			for w.now < until-sweepPoint {
				w.interval()
			}
			var state daq.State
			steady := time.Duration(0)
			for w.now < until-5*time.Second {
				state = w.interval()
				if v, _ := state.Values.Get(quantity.Steady); v != 0 {
					steady = max(steady, 1)
					steady += 200 * time.Millisecond
				} else if _, known := state.Values.Get(quantity.SettlingSeconds); !known || state.WaitsFor == "" {
					t.Fatalf("seed %d, point %d: not steady, and nothing is said to be waited for", seed, point)
				}
			}
			re, _ := state.Values.Get(quantity.Reynolds)
			c, _ := state.Values.Get(quantity.Temperature)
			t.Logf("seed %d, point %d: %.1f °C, Re %.0f, steady for %v", seed, point, c, re, steady)
			if steady < 10*time.Second {
				t.Errorf("seed %d, point %d (%.1f °C, Re %.0f): steady for %v of %v; it waits for %s", seed, point, c, re, steady, sweepPoint, state.WaitsFor)
			}
		}
	}
}

// Something lodges in the tube and takes 3 % of its flow: tube-blocked says so within
// three minutes, laminar, in the transition and turbulent. While nothing does it says
// nothing: for half an hour of each (a day with -long, 5 min with -short), with room and mains drifting.
func TestABlockageOfThreePercent(t *testing.T) {
	t.Parallel()
	for _, re := range []float64{1500, 2600, 6000} {
		s := newSim(t, Options{Seed: 11})
		s.plant = newPlant(11, setting{42, re, 3.5}, false)
		sensors, err := newSensors(s.plant, 11, noiseShare, nil)
		if err != nil {
			t.Fatal(err)
		}
		s.sensors = sensors
		w := watchPlan(t, s, "\n[alarms.tube-blocked]\n")
		blocked := func(state daq.State) bool {
			return slices.ContainsFunc(state.Alarms, func(a daq.AlarmStatus) bool { return a.Name == "tube-blocked" })
		}
		quiet := 30 * time.Minute
		switch {
		case *long:
			quiet = 24 * time.Hour
		case testing.Short():
			quiet = 5 * time.Minute
		}
		for w.now < quiet {
			if state := w.interval(); blocked(state) {
				t.Fatalf("Re %.0f: a false alarm after %v: %s", re, w.now, state.Alarms[0].Cause)
			}
		}
		flow := s.plant.flow()
		sum := 2 * gravity * (s.plant.tank.level + s.plant.drop) / (s.plant.tube.velocity * s.plant.tube.velocity)
		s.plant.tube.blockedTo = 0.063 * sum // the flow goes with the root of the sum: 3 %
		began := w.now
		var state daq.State
		for w.now < began+3*time.Minute && !blocked(state) {
			state = w.interval()
		}
		lost := 1 - s.plant.flow()/flow
		t.Logf("Re %.0f: %.1f %% of the flow lost, alarm after %v", re, 100*lost, w.now-began)
		if !blocked(state) || lost < 0.02 || lost > 0.04 {
			t.Errorf("Re %.0f: %.1f %% of the flow lost, alarms %v, warnings %s", re, 100*lost, state.Alarms, strings.Join(state.Warnings, "; "))
		}
	}
}
