package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/engine"
	"flowrigd/daq/rigsim"
)

// virtual is a simulated rig and the engine that watches it, in virtual time:
// every instrument is read when it is due, and the engine ticks.
type virtual struct {
	sim    *rigsim.Sim
	cfg    *config.Config
	engine *engine.Engine
	now    time.Duration
	number uint64
}

// virtualRig draws a rig and starts the engine on the rig's own configuration.
func virtualRig(scenario string, seed uint64) (*virtual, error) {
	sim, err := rigsim.New(rigsim.Options{Scenario: scenario, Seed: seed})
	if err != nil {
		return nil, err
	}
	cfg, problems := config.Parse(filepath.Join("virtual", "rig.toml"), sim.Config())
	if cfg == nil {
		return nil, fmt.Errorf("rig.toml: %v", problems)
	}
	engine, err := engine.New(cfg, nil)
	if err != nil {
		return nil, err
	}
	v := &virtual{sim: sim, cfg: cfg, engine: engine}
	v.step(engine.Begin())
	return v, nil
}

func (v *virtual) step(in daq.Input) daq.State {
	v.number++
	in.Number, in.Mono, in.Wall = v.number, v.now, time.Unix(1_700_000_000, 0).Add(v.now)
	state, _ := v.engine.Step(in)
	return state
}

// beat divides the interval and every period of the rig's instruments.
const beat = 100 * time.Millisecond

// interval lets one interval pass and gives the state at its end.
func (v *virtual) interval() daq.State {
	for {
		v.sim.Advance(beat)
		v.now += beat
		for _, r := range v.sim.Readings(v.now) {
			if v.now%v.cfg.Instrument(r.Instrument).Every == 0 {
				v.step(daq.Input{Kind: daq.KindReading, Reading: r})
			}
		}
		if v.now%v.cfg.Interval == 0 {
			return v.step(daq.Input{Kind: daq.KindTick})
		}
	}
}

// truth is the rig's true Reynolds number, on its true bore.
func (v *virtual) truth() float64 {
	truth := v.sim.Truth()
	re, _ := truth.Values.Get(quantity.Reynolds)
	return re
}

// settled is one settled state of a rig.
type settled struct {
	re, u, truth, half float64
}

func settle(seed uint64) (s settled, err error) {
	v, err := virtualRig("steady", seed)
	if err != nil {
		return s, err
	}
	v.sim.Settle()
	var state daq.State
	for range 25 {
		state = v.interval()
	}
	for _, id := range state.Instruments {
		if q := state.Quality[id]; q.Grade != daq.Good {
			return s, fmt.Errorf("%s is %v", id.Short(), q)
		}
	}
	var stated bool
	s.re, _ = state.Values.Get(quantity.Reynolds)
	if s.u, stated = state.Values.Get(quantity.ReynoldsUncertainty); !stated {
		return s, fmt.Errorf("no uncertainty of Re")
	}
	s.truth = v.truth()
	flow, _ := state.Values.Get(quantity.Flow)
	celsius, _ := state.Values.Get(quantity.Temperature)
	s.half, err = halfWidth(v.cfg, flow, celsius, seed)
	return s, err
}

// halfWidth propagates what rig.toml states through Re = 4Q/(πDν) by Monte
// Carlo (JCGM 101:2008): the makers' limits of error as rectangles, what
// follows ± as a normal distribution at k = 2. It gives half the width of the
// central 95 %. Nothing else enters, not even the doubt of the viscosity, so
// that an uncertainty padded anywhere is seen.
func halfWidth(cfg *config.Config, flow, celsius float64, seed uint64) (float64, error) {
	r := rand.New(rand.NewPCG(seed, 101))
	within := func(id quantity.ID, x float64) float64 {
		a := cfg.Instrument(id).Accuracy
		return (2*r.Float64() - 1) * (a.OfReading*x + a.Fixed)
	}
	bore, cold := cfg.Tube.Bore, cfg.Instrument(quantity.Temperature).Thermocouple.ColdJunction
	draws := make([]float64, 10_000)
	for i := range draws {
		w, err := water.At(celsius + within(quantity.Temperature, celsius) + r.NormFloat64()*cold.U)
		if err != nil {
			return 0, err
		}
		q, d := flow+within(quantity.Flow, flow), bore.X+r.NormFloat64()*bore.U
		draws[i] = 4 * q / (math.Pi * d * w.KinematicViscosity)
	}
	slices.Sort(draws)
	return (draws[len(draws)*975/1000] - draws[len(draws)*25/1000]) / 2, nil
}

// Re ± U covers the true Re at least 88 times in 100 rigs, each with its own
// errors, bore and cold junction; and U is at most 1.3 times what a Monte Carlo
// of the stated limits gives. With a true coverage of 95 %, fewer than 88 of
// 100 come about once in 240 times (binomial distribution); the errors here are
// mostly rectangular, for which k = 2 covers more.
func TestCoverageOver100Rigs(t *testing.T) {
	t.Parallel()
	const rigs = 100
	var all [rigs]settled
	var failed [rigs]error
	var wg sync.WaitGroup
	for part := range 2 {
		wg.Go(func() {
			for seed := part; seed < rigs; seed += 2 {
				all[seed], failed[seed] = settle(uint64(seed))
			}
		})
	}
	wg.Wait()
	covered, u, half, worst := 0, 0.0, 0.0, 0.0
	for seed, s := range all {
		if failed[seed] != nil {
			t.Fatalf("seed %d: %v", seed, failed[seed])
		}
		if math.Abs(s.re-s.truth) <= s.u {
			covered++
		}
		worst = math.Max(worst, math.Abs(s.re-s.truth)/s.u)
		u, half = u+s.u/rigs, half+s.half/rigs
	}
	t.Logf("%d of %d covered, largest error %.2f U; mean U %.1f, Monte Carlo half-width %.1f, ratio %.3f", covered, rigs, worst, u, half, u/half)
	if covered < 88 {
		t.Errorf("Re ± U covers the truth in %d of %d rigs, want 88", covered, rigs)
	}
	if u > 1.3*half {
		t.Errorf("mean U %.1f is padded: the Monte Carlo gives ± %.1f", u, half)
	}
	if worst < 0.5 {
		t.Errorf("the largest error is %.2f U: the rigs have no errors, or U is padded", worst)
	}
}
