package engine

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/daq/daqtest"
)

// coverRigs is how many rigs are drawn; 0.95 − 2·√(0.95·0.05/300) = 0.925 is the
// least share that chance may leave of a true 0.95.
const (
	coverRigs  = 300
	coverLeast = 0.925
)

// coverText is a rig whose bore is exact, so that the instruments alone make
// the uncertainty; its temperature is a number in Cel.
var coverText = strings.NewReplacer(
	"bore = \"13.00 mm ± 0.04 mm\"", "bore = \"13.00 mm ± 0.0001 mm\"",
	"scale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}", "unit = \"Cel\"\nlag = \"5 s\"",
).Replace(benchText)

// covered plays rigs with drawn errors of the instruments and gives the share
// of them whose Re ± U holds the true one at the end, and the mean U.
func covered(t *testing.T, play func(b *bench, r *rand.Rand) (flow, celsius float64)) (share, width float64) {
	t.Helper()
	held, cfg := 0, benchConfig(t, coverText)
	for seed := range uint64(coverRigs) {
		e, err := New(cfg, nil)
		if err != nil {
			t.Fatal(err)
		}
		b := &bench{t: t, e: e, same: seed%10 != 0} // what one in ten does, all would
		b.step(e.Begin())
		flow, celsius := play(b, rand.New(rand.NewPCG(seed, 7)))
		w, err := water.At(celsius)
		if err != nil {
			t.Fatal(err)
		}
		truth := 4 * flow / 60000 / (math.Pi * 0.013 * w.KinematicViscosity)
		u := b.value(quantity.ReynoldsUncertainty)
		if math.Abs(b.value(quantity.Reynolds)-truth) <= u {
			held++
		}
		width += u / coverRigs
	}
	return float64(held) / coverRigs, width
}

// Water that warms steadily, a thermometer of ± 0.5 K with a time constant of
// 5 s that is behind by all of it: the lag is in the uncertainty before it is a
// doubt.
func TestUncertaintyCoversTheLag(t *testing.T) {
	daqtest.Counts(t)
	t.Parallel()
	for _, perMinute := range []float64{0, 1.8, 5.4, 7.8} {
		share, width := covered(t, func(b *bench, r *rand.Rand) (float64, float64) {
			offFlow, offWarm := 1+0.0067*(2*r.Float64()-1), 0.5*(2*r.Float64()-1)
			slope, celsius := perMinute/60, 0.0
			for range 90 {
				b.at += time.Second
				celsius = 30 + slope*b.at.Seconds()
				b.read(quantity.Flow, 3*offFlow)
				b.read(quantity.Temperature, celsius-5*slope+offWarm+0.01*r.NormFloat64())
				b.read(quantity.Level, 4000+255*40)
			}
			return 3, celsius
		})
		t.Logf("%.1f K/min: covered %.3f, mean U %.1f", perMinute, share, width)
		if share < coverLeast {
			t.Errorf("%.1f K/min: Re ± U holds the true Re in %.3f", perMinute, share)
		}
	}
}

// A meter that scatters more than its maker says: the excess is in the
// uncertainty. Within what the maker says nothing is added.
func TestUncertaintyCoversScatter(t *testing.T) {
	daqtest.Counts(t)
	t.Parallel()
	var quiet float64
	for _, percent := range []float64{0, 0.1, 0.5, 1, 2} {
		share, width := covered(t, func(b *bench, r *rand.Rand) (float64, float64) {
			offFlow, offWarm := 1+0.0067*(2*r.Float64()-1), 0.5*(2*r.Float64()-1)
			for range 100 {
				b.at += 200 * time.Millisecond
				b.read(quantity.Flow, 3*offFlow*(1+percent/100*r.NormFloat64()))
				b.read(quantity.Temperature, 42+offWarm)
				b.read(quantity.Level, 4000+255*40)
			}
			return 3, 42
		})
		t.Logf("scatter of %.1f %%: covered %.3f, mean U %.1f", percent, share, width)
		if share < coverLeast {
			t.Errorf("scatter of %.1f %%: Re ± U holds the true Re in %.3f", percent, share)
		}
		if percent == 0 {
			quiet = width
		}
		if percent <= 0.1 && width > 1.03*quiet {
			t.Errorf("scatter of %.1f %%: U %.1f, without any %.1f", percent, width, quiet)
		}
	}
}

// The live probabilities of an instrument whose uncertainty has two parts,
// against a simulation that draws each from its own distribution.
func TestLiveProbabilities(t *testing.T) {
	const draws = 50_000
	for _, c := range []struct {
		junction, accuracy float64 // limits, K
		bound              float64
	}{{3, 0.1, 0.01}, {3, 0.5, 0.01}, {3, 1.5, 0.015}, {2, 1.5, 0.015}} {
		text := strings.NewReplacer(
			"bore = \"13.00 mm ± 0.04 mm\"", "bore = \"13.00 mm ± 0.0001 mm\"",
			"of_reading = \"0.5 %\", fixed = \"0.005 L/min\"", "of_reading = \"0.01 %\"",
			"scale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"0.5 K\"}",
			fmt.Sprintf("unit = \"mV\"\nthermocouple = {type = \"K\", cold_junction = \"23 Cel ± %g K (limits)\"}\naccuracy = {fixed = \"%g K\"}", c.junction, c.accuracy),
		).Replace(benchText)
		b := benchWith(t, text)
		const millivolts = 0.7787 // some 42 Cel over a junction of 23 Cel
		b.read(quantity.Temperature, millivolts)
		b.read(quantity.Level, 4000+255*40)
		b.read(quantity.Flow, 1)
		at := b.value(quantity.Reynolds)
		celsius := b.value(quantity.Temperature)
		r, worst := rand.New(rand.NewPCG(3, 4)), 0.0
		for _, offset := range []float64{-0.06, -0.04, -0.02, -0.01, 0, 0.01, 0.02, 0.04, 0.06} {
			flow := 2000 / at * (1 + offset)
			b.read(quantity.Flow, flow)
			below := 0
			for range draws {
				w, err := water.At(celsius + c.junction*couplingAt42*(2*r.Float64()-1) + c.accuracy*(2*r.Float64()-1))
				if err != nil {
					t.Fatal(err)
				}
				q := flow / 60000 * (1 + 0.0001*(2*r.Float64()-1))
				if 4*q/(math.Pi*0.013*w.KinematicViscosity) < 2000 {
					below++
				}
			}
			worst = max(worst, math.Abs(float64(below)/draws-b.value(quantity.ProbabilityBelow)))
		}
		t.Logf("junction ± %g K, accuracy ± %g K: worst difference of the probability %.4f", c.junction, c.accuracy, worst)
		if worst > c.bound {
			t.Errorf("junction ± %g K, accuracy ± %g K: worst difference %.4f, bound %.3f", c.junction, c.accuracy, worst, c.bound)
		}
	}
}

// couplingAt42 is by how much the temperature moves with that of the junction:
// the ratio of type K's Seebeck coefficients at 23 and 42 Cel (40.45 and 41.05
// µV/K, from the polynomials of NIST Monograph 175).
const couplingAt42 = 40.45 / 41.05
