package rigsim

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

// watched is a rig with the program's engine beside it, without lines.
type watched struct {
	sim    *Sim
	engine *engine.Engine
	now    time.Duration
	number uint64
	events []daq.Event
}

func watch(t testing.TB, o Options) *watched {
	t.Helper()
	s := newSim(t, o)
	e, err := engine.New(daqtest.Config(t, string(s.Config())), nil)
	must(t, err)
	w := &watched{sim: s, engine: e}
	w.step(e.Begin())
	return w
}

func (w *watched) step(in daq.Input) daq.State {
	w.number++
	in.Number, in.Mono, in.Wall = w.number, w.now, time.Unix(0, 0).Add(w.now)
	state, events := w.engine.Step(in)
	w.events = append(w.events, events...)
	return state
}

// interval lets 200 ms pass: every instrument is read, then the engine ticks.
func (w *watched) interval() daq.State {
	const interval = 200 * time.Millisecond
	w.sim.Advance(interval)
	w.now += interval
	for _, r := range w.sim.Readings(w.now) {
		w.step(daq.Input{Kind: daq.KindReading, Reading: r})
	}
	return w.step(daq.Input{Kind: daq.KindTick})
}

// Re ± U must cover the true Re in at least 88 of 100 rigs, each with its own
// errors: with a coverage of 0.95 fewer than 88 come once in 500 times, and
// most shapes here cover more. And U must not be padded: at most 1.3 times the
// half-width of a Monte Carlo's 95 % interval (JCGM 101:2008).
func TestUncertaintyCoversTheTruth(t *testing.T) {
	daqtest.Counts(t)
	const rigs = 100
	covered, sum := 0, 0.0
	for seed := range uint64(rigs) {
		w := watch(t, Options{Seed: seed})
		w.sim.Settle()
		var state daq.State
		for range 25 {
			state = w.interval()
		}
		re, known := state.Values.Get(quantity.Reynolds)
		u, stated := state.Values.Get(quantity.ReynoldsUncertainty)
		if !known || !stated {
			t.Fatalf("seed %d: no Reynolds number, %v", seed, state.Quality)
		}
		truth, _ := w.sim.plantTruth().Get(quantity.Reynolds)
		if math.Abs(re-truth) <= u {
			covered++
		}
		sum += u
	}
	half := simulatedHalfWidth()
	t.Logf("%d of %d covered; mean U %.0f, Monte Carlo half-width %.0f, ratio %.2f", covered, rigs, sum/rigs, half, sum/rigs/half)
	if covered < 88 {
		t.Errorf("Re ± U covers the truth in %d of %d rigs", covered, rigs)
	}
	if sum/rigs > 1.3*half {
		t.Errorf("mean U %.0f is padded: the Monte Carlo gives %.0f", sum/rigs, half)
	}
}

// simulatedHalfWidth propagates the distributions that rig.toml states through
// Re = 4Q/(πDν) at the steady scenario's point and gives half the width of the
// central 95 %.
func simulatedHalfWidth() float64 {
	r := rand.New(rand.NewPCG(1, 2))
	at := point()
	w, err := water.At(at.celsius)
	if err != nil {
		return math.NaN()
	}
	flow := at.reynolds * math.Pi / 4 * stated.bore * w.KinematicViscosity
	limit := 0.005*flow + 0.005*litreAMinute
	draws := make([]float64, 50_000)
	for i := range draws {
		q := flow + limit*(2*r.Float64()-1)
		d := stated.bore + r.NormFloat64()*stated.boreU/2
		c := at.celsius + 1.5*(2*r.Float64()-1) + r.NormFloat64()*coldJunctionU/2
		hot, err := water.At(c)
		if err != nil {
			return math.NaN()
		}
		nu := hot.KinematicViscosity + r.NormFloat64()*w.KinematicU
		draws[i] = 4 * q / (math.Pi * d * nu)
	}
	slices.Sort(draws)
	return (draws[len(draws)*975/1000] - draws[len(draws)*25/1000]) / 2
}

// While the valve moves, a state must be bracketed by the truth over the stated
// lag, widened by U, or be marked uncertain.
func TestMovingValveIsBracketed(t *testing.T) {
	w := watch(t, Options{Seed: 4})
	w.sim.Settle()
	const lag = 1.0 // s, of the flow meter as rig.toml states it
	var truths []float64
	uncertain, checked := 0, 0
	for i := range 600 {
		switch i {
		case 50, 300:
			w.sim.turn(2500)
		case 180, 420:
			w.sim.turn(7000)
		}
		state := w.interval()
		truth, _ := w.sim.plantTruth().Get(quantity.Reynolds)
		truths = append(truths, truth)
		if state.Quality[quantity.Flow].Grade == daq.Uncertain {
			uncertain++
			continue
		}
		window := truths[max(0, len(truths)-1-int(lag/0.2)):]
		re, known := state.Values.Get(quantity.Reynolds)
		u, _ := state.Values.Get(quantity.ReynoldsUncertainty)
		checked++
		if !known || re < slices.Min(window)-u || re > slices.Max(window)+u {
			t.Errorf("after %v: Re %.0f ± %.0f, truth %.0f to %.0f, quality %v", w.now, re, u, slices.Min(window), slices.Max(window), state.Quality[quantity.Flow])
		}
	}
	t.Logf("%d states checked, %d marked uncertain", checked, uncertain)
	if uncertain == 0 || checked < 100 {
		t.Errorf("%d states checked, %d marked uncertain: the test says nothing", checked, uncertain)
	}
}

// turn moves the hand on the valve.
func (s *Sim) turn(reynolds float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.plant.turnTo(reynolds)
}

// What comes off the instruments means the true value within the makers'
// limits, for every instrument of a full rig and through every conversion.
func TestReadingsMeanTheTruth(t *testing.T) {
	w := watch(t, Options{Seed: 9, Scenario: "sweep"})
	var state daq.State
	for range 50 {
		state = w.interval()
	}
	truth := w.sim.plantTruth()
	for _, in := range w.sim.sensors {
		got, known := state.Values.Get(in.id)
		want, _ := truth.Get(in.id)
		// The noise may go a little beyond the limits, the cold junction 0.75 K;
		// a counted flow has a pulse in its window.
		room := 1.1*in.limit() + map[quantity.ID]float64{quantity.Temperature: 0.75, quantity.SupplyFlow: 0.02 * want}[in.id]
		if !known || math.Abs(got-want) > room || state.Quality[in.id].Grade != daq.Good {
			t.Errorf("%s = %v, true %v ± %v, %v", in.id.Short(), got, want, room, state.Quality[in.id])
		}
	}
}

// The counter of the supply meter wraps at 2^16 while the flow stays what it is.
func TestCounterWraps(t *testing.T) {
	w := watch(t, Options{Seed: 2, Scenario: "sweep"})
	wrapped, last := false, uint64(0)
	for i := range 150 {
		state := w.interval()
		count := w.sim.Readings(w.now)[slices.IndexFunc(w.sim.sensors, func(in *sensor) bool { return in.id == quantity.SupplyFlow })].Count
		wrapped = wrapped || count < last
		last = count
		if v, known := state.Values.Get(quantity.SupplyFlow); i > 15 && (!known || math.Abs(v/(3.5*litreAMinute)-1) > 0.03) {
			t.Fatalf("after %v: supply %v m³/s", w.now, v)
		}
	}
	if !wrapped {
		t.Error("the counter did not wrap: the test says nothing")
	}
}

// An empty tank: no flow is "no-flow", not a small Reynolds number.
func TestEmptyTankIsNoFlow(t *testing.T) {
	w := watch(t, Options{Seed: 3, Scenario: "head-loss"})
	w.sim.Advance(6 * time.Minute)
	var state daq.State
	for range 25 {
		state = w.interval()
	}
	if re, known := state.Values.Get(quantity.Reynolds); known || state.Values.Band() != quantity.NoFlow {
		t.Errorf("regime %v, Re %v known: %v", state.Values.Band(), re, known)
	}
}
