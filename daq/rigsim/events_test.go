package rigsim

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// event is something that happens to the rig at a size, for a time, while all
// else is held as it was.
type event struct {
	name, unit string
	alarm      string
	lasts      time.Duration
	sizes      []float64                  // of the table, in order of how well they are seen
	surely     func(r *rand.Rand) float64 // a size above the one stated as detectable
	put        func(n *night, size float64, since time.Duration)
}

// The sizes that are surely seen are the limits of the alarms and the rig's
// accuracies on top: 1 mm and the lip's 1 mm; 1.5 K and the cold junction's
// 0.5 K; a fall half as fast again; the meter's 1 %; a reading's time.
var events = []event{
	{name: "level below the lip", unit: "mm", alarm: "head-lost", lasts: 5 * time.Second,
		sizes:  []float64{16, 18, 19, 20, 21, 22, 24},
		surely: func(r *rand.Rand) float64 { return 22.5 + 200*r.Float64() },
		put:    func(n *night, mm float64, _ time.Duration) { n.sim.plant.tank.level = n.sim.plant.lip - mm/1e3 }},
	{name: "water temperature", unit: "Cel", alarm: "water-overheat", lasts: 8 * time.Second,
		sizes:  []float64{72, 73, 74, 75, 76, 77, 78},
		surely: func(r *rand.Rand) float64 { return 77.5 + 10*r.Float64() },
		put:    func(n *night, celsius float64, _ time.Duration) { n.sim.plant.tank.fill(celsius) }},
	{name: "fall of the temperature", unit: "K/s", alarm: "temperature-implausible", lasts: 12 * time.Second,
		sizes:  []float64{0.4, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2},
		surely: func(r *rand.Rand) float64 { return 1.2 + 0.8*r.Float64() },
		put: func(n *night, rate float64, since time.Duration) {
			n.sim.plant.tank.fill(rested - rate*since.Seconds())
		}},
	{name: "supply left", unit: "L/min", alarm: "heating-without-supply", lasts: 8 * time.Second,
		sizes:  []float64{0.4, 0.3, 0.25, 0.2, 0.15, 0.1, 0},
		surely: func(r *rand.Rand) float64 { return 0.1 * r.Float64() },
		put: func(n *night, lpm float64, _ time.Duration) {
			n.sim.plant.tap = lpm * litreAMinute
			n.sim.plant.supply = n.sim.plant.tap
		}},
	{name: "temperature silent", unit: "s", alarm: "instrument-fault-temperature", lasts: 0,
		sizes:  []float64{0.5, 1, 1.5, 2, 2.5, 3, 4},
		surely: func(r *rand.Rand) float64 { return 3 + 10*r.Float64() },
		put: func(n *night, length float64, since time.Duration) {
			n.mute = quantity.Temperature
			n.muted = since.Seconds() < length
		}},
}

// What a rig of this test is held at between the events.
const (
	rested       = 50.0 // Cel
	restedSupply = 3.5  // L/min
)

// newRested is a rig on which nothing happens by itself, the permit given.
func newRested(t *testing.T, seed uint64) *night {
	t.Helper()
	n := newNight(t, Options{Scenario: "sweep", Seed: seed})
	n.sim.playing.moves, n.sim.playing.again = nil, 0
	n.rest()
	n.held = n.rest
	n.sleep(20 * time.Second)
	n.give(t)
	return n
}

// fill gives both layers one temperature.
func (t *tank) fill(celsius float64) { t.celsius, t.above = celsius, celsius }

// rest holds temperature, level and supply.
func (n *night) rest() {
	p := n.sim.plant
	p.tap, p.supply = restedSupply*litreAMinute, restedSupply*litreAMinute
	p.tank.fill(rested)
	p.tank.level = p.lip + crest(p.supply-p.flow())
	n.muted = false
}

// happen lets an event come and go, and gives how often each alarm was raised
// in it and in the time after it.
func (n *night) happen(e event, size float64, after time.Duration) map[string]int {
	before, began := len(n.alarms), n.now
	lasts := e.lasts
	if lasts == 0 {
		lasts = time.Duration(size * float64(time.Second))
	}
	n.held = func() { n.rest(); e.put(n, size, n.now-began) }
	n.sleep(lasts)
	n.recover(began+lasts, after)
	raised := map[string]int{}
	for _, a := range n.alarms[before:] {
		if a.State == "unacknowledged" {
			raised[a.Name]++
		}
	}
	return raised
}

// recover brings the rig back to rest: hot water cools slowly, a probe that is
// put back warms at once.
func (n *night) recover(from, after time.Duration) {
	start := n.sim.plant.tank.celsius
	n.held = func() {
		n.rest()
		n.sim.plant.tank.fill(max(rested, start-0.4*(n.now-from).Seconds()))
	}
	n.sleep(after)
	n.held = n.rest
}

// restore is a person who acknowledges and resets all and gives the permit.
func (n *night) restore(t *testing.T) {
	t.Helper()
	for _, a := range n.state.Alarms {
		n.do(daq.Command{ID: "2", Who: "dana", Ask: daq.AskAlarm(daq.Acknowledge, a.Name, "", 0)})
	}
	for _, name := range n.state.Tripped {
		n.do(daq.Command{ID: "3", Who: "dana", Ask: daq.AskAlarm(daq.Reset, name, "", 0)})
	}
	n.sleep(time.Second)
	if len(n.state.Alarms) > 0 || len(n.state.Tripped) > 0 {
		t.Fatalf("after acknowledging and resetting: alarms %v, trips %v", n.state.Alarms, n.state.Tripped)
	}
	n.give(t)
}

// Of a hundred events above the size stated as detectable each is alarmed
// exactly once, by its own alarm alone, and drops the permit.
func TestEachEventIsAlarmedOnce(t *testing.T) {
	t.Parallel()
	seeds := uint64(20)
	if testing.Short() {
		seeds = 4
	}
	for seed := range seeds {
		r := rand.New(rand.NewPCG(seed, 100))
		n := newRested(t, seed)
		for _, i := range r.Perm(len(events)) {
			e := events[i]
			size := e.surely(r)
			raised := n.happen(e, size, 2*time.Minute)
			if len(raised) != 1 || raised[e.alarm] != 1 {
				t.Errorf("seed %d: %s of %.3g %s raised %v, want %s once", seed, e.name, size, e.unit, raised, e.alarm)
			}
			if n.state.Permit || n.sim.plant.relay.energised {
				t.Errorf("seed %d: %s of %.3g %s: the permit stands", seed, e.name, size, e.unit)
			}
			n.restore(t)
		}
	}
}

// How well an event is seen by its size: the share of ten rigs, of 20 with -long,
// each with its own errors, that alarmed. Well under the limit none does, well above it all.
func TestDetectedShare(t *testing.T) {
	daqtest.Counts(t)
	t.Parallel()
	rigs := 10
	switch {
	case *long:
		rigs = 20
	case testing.Short():
		rigs = 4
	}
	for _, e := range events {
		var row strings.Builder
		for i, size := range e.sizes {
			seen := 0
			for seed := range uint64(rigs) {
				n := newRested(t, 1000+seed)
				// The longest delay is 2 s: what is not seen by then is not seen.
				seen += min(1, n.happen(e, size, 15*time.Second)[e.alarm])
			}
			fmt.Fprintf(&row, "  %g %s: %d %%", size, e.unit, 100*seen/rigs)
			if i == 0 && seen > 0 || i == len(e.sizes)-1 && seen < rigs {
				t.Errorf("%s of %g %s: %d of %d alarmed", e.name, size, e.unit, seen, rigs)
			}
		}
		t.Logf("%s:%s", e.name, row.String())
	}
}
