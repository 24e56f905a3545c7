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

// A Monte Carlo after JCGM 101 with the inputs' own distributions is the
// oracle, one input at a time as wide as calc takes it: where several are wide
// their sum is nearer to normal, and the deviation smaller. What is said is no more
// than twice what was found.
func TestProbabilityDoubt(t *testing.T) {
	t.Parallel()
	found := map[float64]float64{} // by what is said
	for _, shape := range []uncertainty.Shape{uncertainty.Normal, uncertainty.Rectangular} {
		for _, wide := range []string{"flow", "bore", "temperature"} {
			for _, share := range []float64{0.02, 0.05, 0.1, 0.2, 0.3, 0.43, 0.5} {
				t.Run(fmt.Sprintf("%v/%s/%v", shape, wide, share), func(t *testing.T) {
					worst, said := holdDoubt(t, shape, wide, share)
					found[said] = max(found[said], worst)
				})
			}
		}
	}
	for said, worst := range found {
		if said > 2*worst {
			t.Errorf("said to be off by up to %g, found %.4f", said, worst)
		}
	}
}

// holdDoubt scans the Reynolds numbers with one set of draws, and gives the largest
// deviation with what was said of it.
func holdDoubt(t *testing.T, shape uncertainty.Shape, wide string, share float64) (worst, allowed float64) {
	const celsius, draws = 42, 100_000
	half := map[string]float64{"flow": 1e-4, "bore": 1e-4, "temperature": 0.004}
	half[wide] = share
	rig := bench()
	rig.Bore, rig.FlowMin = spread(0.013, half["bore"]*0.013, shape), 1e-9
	warm := spread(celsius, half["temperature"]*40, shape)
	flow := func(q float64) pipe.Inputs {
		return pipe.Inputs{Flow: pipe.Input{Value: spread(q, half["flow"]*q, shape), Known: true}, Temperature: pipe.Input{Value: warm, Known: true}}
	}
	w, _ := water.At(celsius)
	unit := pipe.LimitFlow(1, 0.013, w.KinematicViscosity)
	drawn := drawWide(rig, flow(unit), draws)
	p := mustNew(t, rig)
	var at float64
	for re := 700.0; re < 12000; re *= 1.01 {
		var s quantity.Set
		p.Derive(flow(re*unit), &s)
		allowed = pipe.ProbabilityDoubt(get(t, &s, quantity.ReynoldsUncertainty) / re)
		below, above := float64(position(drawn, 2000/re))/draws, 1-float64(position(drawn, 4000/re))/draws
		for _, d := range []float64{get(t, &s, quantity.ProbabilityBelow) - below, get(t, &s, quantity.ProbabilityAbove) - above,
			get(t, &s, quantity.ProbabilityBetween) - (1 - below - above)} {
			if math.Abs(d) > worst {
				worst, at = math.Abs(d), re
			}
		}
	}
	t.Logf("largest deviation %.4f at Re %.0f, said %g", worst, at, allowed)
	if worst > allowed {
		t.Errorf("off by %.4f at Re %.0f, said to be %g at most", worst, at, allowed)
	}
	return worst, allowed
}

func spread(x, half float64, shape uncertainty.Shape) uncertainty.Value {
	if shape == uncertainty.Rectangular {
		return uncertainty.Limits(x, half)
	}
	return uncertainty.Expanded(x, half, 2)
}

// drawWide draws Reynolds numbers in order; what is no water and no bore is
// drawn again.
func drawWide(rig pipe.Rig, in pipe.Inputs, draws int) []float64 {
	random := rand.New(rand.NewPCG(5, 6))
	drawn := make([]float64, 0, draws)
	for len(drawn) < draws {
		w, err := water.At(drawInput(random, in.Temperature))
		bore := drawInput(random, pipe.Input{Value: rig.Bore})
		if err == nil && bore > 0 {
			drawn = append(drawn, pipe.Reynolds(drawInput(random, in.Flow), bore, w.KinematicViscosity+w.KinematicU*random.NormFloat64()))
		}
	}
	slices.Sort(drawn)
	return drawn
}
