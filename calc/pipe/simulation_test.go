package pipe_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// accuracy is one set of makers' limits on the grid.
type accuracy struct {
	name                 string
	flowShare, flowFixed float64 // limits: of reading, L/min
	warm                 float64 // limits, K
	boreU                float64 // m, standard
	shapes               [2]uncertainty.Shape
	extraFlow, extraWarm float64 // standard, relative and K
}

var accuracies = []accuracy{
	{"common", 0.005, 0.005, 1.5, 2e-5, [2]uncertainty.Shape{1, 1}, 0, 0},
	{"fine", 0.0025, 0.001, 0.1, 5e-6, [2]uncertainty.Shape{1, 1}, 0.001, 0.02},
	{"coarse", 0.05, 0.005, 2.5, 1e-4, [2]uncertainty.Shape{1, 1}, 0.005, 0.3},
	{"certificates", 0.01, 0, 0.5, 2e-5, [2]uncertainty.Shape{0, 0}, 0, 0},
	{"flow alone", 0.02, 0, 0.01, 1e-6, [2]uncertainty.Shape{1, 0}, 0, 0},
}

// A Monte Carlo after JCGM 101 with the inputs' own distributions is the oracle:
// u against its standard deviation, the coverage of ±2u, the width against its
// 95 % interval, and the three probabilities.
func TestAgainstSimulation(t *testing.T) {
	for _, a := range accuracies {
		t.Run(a.name, func(t *testing.T) {
			t.Parallel()
			worst := 0.0
			for _, celsius := range []float64{5, 20, 42, 65} {
				drawn := a.draw(t, celsius)
				for _, re := range []float64{600, 1900, 1990, 2010, 2060, 3900, 4040, 9000} {
					t.Run(fmt.Sprintf("%v °C/Re %v", celsius, re), func(t *testing.T) {
						worst = math.Max(worst, compare(t, a, celsius, re, drawn))
					})
				}
			}
			t.Logf("largest deviation of a probability: %.4f", worst)
		})
	}
}

const draws = 100_000

func compare(t *testing.T, a accuracy, celsius, re float64, all []draw) (deviation float64) {
	in := a.inputs(t, celsius, re)
	var s quantity.Set
	mustNew(t, a.rig()).Derive(in, &s)
	u := get(t, &s, quantity.ReynoldsUncertainty) / 2

	drawn := simulate(in, all)
	mean, sd := uncertainty.Mean(drawn), 0.0
	for _, y := range drawn {
		sd += (y - mean) * (y - mean)
	}
	// The simulation's own sd is uncertain by 0.22 % (k = 1) at this size.
	relative(t, "u", u, math.Sqrt(sd/draws), 0.01)

	slices.Sort(drawn)
	inside := float64(position(drawn, re+2*u)-position(drawn, re-2*u)) / draws
	if inside < 0.95 {
		t.Errorf("±2u covers %.4f", inside)
	}
	interval := drawn[draws/1000*975] - drawn[draws/1000*25]
	if 4*u > 1.3*interval {
		t.Errorf("±2u is %.3f of the 95 %% interval", 4*u/interval)
	}
	below, above := float64(position(drawn, 2000))/draws, 1-float64(position(drawn, 4000))/draws
	for _, p := range [][2]float64{{get(t, &s, quantity.ProbabilityBelow), below}, {get(t, &s, quantity.ProbabilityAbove), above},
		{get(t, &s, quantity.ProbabilityBetween), 1 - below - above}} {
		deviation = math.Max(deviation, math.Abs(p[0]-p[1]))
	}
	if deviation > 0.01 {
		t.Errorf("a probability is off by %.4f", deviation)
	}
	return deviation
}

func (a accuracy) inputs(t *testing.T, celsius, re float64) pipe.Inputs {
	t.Helper()
	w, err := water.At(celsius)
	if err != nil {
		t.Fatal(err)
	}
	q := pipe.LimitFlow(re, 0.013, w.KinematicViscosity)
	flow := uncertainty.Limits(q, a.flowShare*q+a.flowFixed/60000)
	flow.Shape = a.shapes[0]
	warm := uncertainty.Limits(celsius, a.warm)
	warm.Shape = a.shapes[1]
	return pipe.Inputs{
		Flow:        pipe.Input{Value: flow, OtherU: a.extraFlow * q, Known: true},
		Temperature: pipe.Input{Value: warm, OtherU: a.extraWarm, Known: true},
	}
}

func position(sorted []float64, x float64) int {
	i, _ := slices.BinarySearch(sorted, x)
	return i
}

func (a accuracy) rig() pipe.Rig {
	rig := bench()
	rig.Bore, rig.FlowMin = uncertainty.Value{X: 0.013, U: a.boreU}, 1e-9
	return rig
}

// draw is what one draw has of the bore, the water and the flow, whatever the
// Reynolds number: the flow's two parts are in their own standard uncertainties.
type draw struct{ bore, nu, other, own float64 }

func (a accuracy) draw(t *testing.T, celsius float64) []draw {
	t.Helper()
	random, rig, in := rand.New(rand.NewPCG(3, 4)), a.rig(), a.inputs(t, celsius, 2000)
	all := make([]draw, draws)
	for i := range all {
		w, err := water.At(drawInput(random, in.Temperature))
		if err != nil {
			t.Fatal(err)
		}
		all[i].nu = w.KinematicViscosity + w.KinematicU*random.NormFloat64()
		all[i].bore = rig.Bore.X + rig.Bore.U*random.NormFloat64()
		all[i].other, all[i].own = random.NormFloat64(), standard(random, in.Flow.Shape)
	}
	return all
}

func simulate(in pipe.Inputs, all []draw) []float64 {
	out := make([]float64, len(all))
	for i, d := range all {
		out[i] = pipe.Reynolds(in.Flow.X+in.Flow.OtherU*d.other+in.Flow.U*d.own, d.bore, d.nu)
	}
	return out
}

// standard draws from a shape of mean 0 and standard deviation 1.
func standard(random *rand.Rand, shape uncertainty.Shape) float64 {
	if shape == uncertainty.Rectangular {
		return math.Sqrt(3) * (2*random.Float64() - 1)
	}
	return random.NormFloat64()
}

func drawInput(random *rand.Rand, in pipe.Input) float64 {
	x := in.X + in.OtherU*random.NormFloat64()
	return x + in.U*standard(random, in.Shape)
}
