package rigsim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

// cell is one condition in which Re ± U must cover the truth where the dye is watched.
type cell struct {
	celsius float64 // at the tube's inlet when it is judged
	warming float64 // K/s
	probe   float64 // limits of error of the thermometer, K
	ambient bool    // the room is measured, else assumed
}

func (c cell) String() string {
	room := "assumed"
	if c.ambient {
		room = "measured"
	}
	return fmt.Sprintf("%g °C, %g K/s, probe ± %g K, room %s", c.celsius, c.warming, c.probe, room)
}

func cells() (list []cell) {
	for _, celsius := range []float64{20, 40, 65} {
		for _, warming := range []float64{0, 0.02, 0.05} {
			for _, probe := range []float64{1.5, 0.5, 0.15} {
				for _, ambient := range []bool{false, true} {
					list = append(list, cell{celsius, warming, probe, ambient})
				}
			}
		}
	}
	return list
}

// The figures of the papers that a cell's budget rests on: flow 0.5 %, Re 1500.
const (
	coveredRe   = 1500.0
	coveredPast = 75 * time.Second // of readings before the judgement
	meterPart   = 0.005
)

// rigIn is a rig in a cell with the program's engine beside it. Its probe is a
// resistance thermometer on a transmitter that sends degrees.
func rigIn(t testing.TB, c cell, seed uint64) *watched {
	t.Helper()
	s := newSim(t, Options{Seed: seed, Scenario: "sweep"})
	begin := c.celsius - c.warming*coveredPast.Seconds()
	s.plant = newPlant(seed, setting{begin, coveredRe, 3}, false)
	s.playing.moves = nil
	sensors, err := newSensors(s.plant, seed, noiseShare, []quantity.ID{quantity.Ambient})
	if err != nil {
		t.Fatal(err)
	}
	s.sensors = sensors
	probe := s.sensor(quantity.Temperature)
	probe.fixed, probe.number = c.probe, func(celsius float64) float64 { return round(celsius, 0.01) }
	flow := s.sensor(quantity.Flow)
	flow.ofReading, flow.fixed = meterPart, 0
	text := strings.NewReplacer(
		"unit = \"mV\"\nthermocouple = {type = \"K\", cold_junction = \"23 Cel ± 0.5 K\"}", "unit = \"Cel\"",
		`accuracy = {fixed = "1.5 K"}`, fmt.Sprintf("accuracy = {fixed = \"%g K\"}", c.probe),
		`accuracy = {of_reading = "0.5 %", fixed = "0.005 L/min"}`, `accuracy = {of_reading = "0.5 %"}`,
	).Replace(string(s.Config()))
	if !c.ambient {
		text = text[:strings.Index(text, "[instruments.ambient]")] + text[strings.Index(text, "[http]"):]
	}
	cfg, problems := config.Parse("rig.toml", []byte(text))
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

// judged lets a cell's rig run and gives its last state and the truth. The water at the
// tube's mouth is led along the ramp by hand; the valve follows it, as it would to keep
// the Reynolds number.
func (w *watched) judged(c cell) (daq.State, quantity.Set) {
	begin := w.sim.plant.tank.celsius
	var state daq.State
	for w.now < coveredPast {
		w.sim.plant.tank.celsius = begin + c.warming*w.now.Seconds()
		w.sim.plant.tank.above = w.sim.plant.tank.celsius
		if c.warming > 0 && w.now%(5*time.Second) == 0 {
			w.sim.plant.turnTo(coveredRe)
		}
		state = w.interval()
	}
	return state, *w.sim.plantTruth()
}

// U covers the true Re where the dye is watched: in at least 95 % of all rigs and 90 % of
// each cell (200 seeds with -long), and is not padded: its mean is at most 1.4 times
// the half-width that a Monte Carlo of the stated inputs gives (JCGM 101:2008). The short
// form plays four seeds of each cell; of 216 rigs that are covered in 95 % fewer than 92 %
// come once in 30 times, and most cells are covered better.
func TestUncertaintyCoversTheTruthAtTheDye(t *testing.T) {
	daqtest.Counts(t)
	t.Parallel()
	seeds := 4
	switch {
	case *long:
		seeds = 200
	case testing.Short():
		seeds = 1
	}
	covered, all := 0, 0
	for _, c := range cells() {
		in, sum, fall := 0, 0.0, 0.0
		for seed := range seeds {
			state, truth := rigIn(t, c, uint64(seed)+1).judged(c)
			re, known := state.Values.Get(quantity.Reynolds)
			u, stated := state.Values.Get(quantity.ReynoldsUncertainty)
			f, _ := state.Values.Get(quantity.TubeTemperatureFall)
			want, _ := truth.Get(quantity.Reynolds)
			if !known || !stated {
				t.Fatalf("%v, seed %d: no Reynolds number: %v", c, seed, state.Quality)
			}
			if math.Abs(re-want) <= u {
				in++
			}
			sum, fall = sum+u, fall+f
		}
		covered, all = covered+in, all+seeds
		half := c.halfWidth(fall / float64(seeds))
		ratio := sum / float64(seeds) / half
		t.Logf("%v: %d of %d covered, mean U %.1f, Monte Carlo %.1f, ratio %.2f", c, in, seeds, sum/float64(seeds), half, ratio)
		if *long && float64(in) < 0.90*float64(seeds) {
			t.Errorf("%v: %d of %d covered", c, in, seeds)
		}
		if ratio > 1.4 {
			t.Errorf("%v: U is %.2f times the Monte Carlo's half-width", c, ratio)
		}
	}
	least := 0.92
	if *long {
		least = 0.95
	}
	t.Logf("%d of %d covered in all", covered, all)
	if float64(covered) < least*float64(all) {
		t.Errorf("%d of %d covered in all", covered, all)
	}
}

// halfWidth is half of the central 95 % of Re when every input is drawn from what is
// stated of it: meter and probe rectangular, bore, room and place normal; free
// convection good to 15 %, and a draught that adds up to as much again; the probe's lag
// anywhere up to the maker's longest.
func (c cell) halfWidth(fall float64) float64 {
	r := rand.New(rand.NewPCG(5, 6))
	between := func(half float64) float64 { return half * (2*r.Float64() - 1) }
	inlet, err := water.At(c.celsius)
	if err != nil {
		return math.NaN()
	}
	flow := coveredRe * math.Pi / 4 * stated.bore * inlet.KinematicViscosity
	velocity := flow / (math.Pi / 4 * stated.bore * stated.bore)
	roomU := (roomHigh - roomLow + 2) / 4 // of rig.toml's ± as k = 2
	draws := make([]float64, 40_000)
	for i := range draws {
		q := flow * (1 + between(meterPart))
		d := stated.bore + r.NormFloat64()*stated.boreU/2
		room := 21 + r.NormFloat64()*roomU
		if c.ambient {
			room = 21 + between(0.5)
		}
		lost := fall / 2 * (1 + between(0.15)) * (1 + r.Float64())
		if math.Abs(c.celsius-21) > 1 {
			lost *= (c.celsius - room) / (c.celsius - 21)
		}
		onTheWay := c.warming * stated.watchedAt / velocity * (1 + between(meterPart))
		late := c.warming * 2 * r.Float64()
		at := c.celsius + between(c.probe) + late - onTheWay - lost
		w, err := water.At(at)
		if err != nil {
			return math.NaN()
		}
		nu := w.KinematicViscosity * (1 + between(0.001) + r.NormFloat64()*w.KinematicU/w.KinematicViscosity)
		draws[i] = 4 * q / (math.Pi * d * nu)
	}
	slices.Sort(draws)
	return (draws[len(draws)*975/1000] - draws[len(draws)*25/1000]) / 2
}
