package transition

import (
	"math"
	"math/rand/v2"
	"testing"

	"flowrigd/calc/uncertainty"
)

// TestTheBranchesOfBothWaysAreOne: the way down shows hardly any of the laminar branch, and
// its break is found to a thousandth by that of the way up, though more heat was lost than
// computed, laminar friction is another and the turbulent branch is Prandtl's.
func TestTheBranchesOfBothWaysAreOne(t *testing.T) {
	for name, off := range map[string]struct{ heat, torn, exponent, gain float64 }{
		"by the laws":            {},
		"heat":                   {heat: 1.5},
		"heat of eddies":         {heat: -0.5, torn: 0.4},
		"Prandtl":                {exponent: -0.08},
		"more friction, laminar": {gain: 0.1},
	} {
		r := rand.New(rand.NewPCG(18, 85))
		all := append(drops(1900, 3100, 2400, -3, 1+off.gain, 1, 0, r), drops(3000, 1640, 1800, -3, 1+off.gain, 1, 0, r)...)
		for i := range all {
			d := &all[i]
			d.Heat = 40000 / d.Reynolds.X
			critical := 2400.0
			if i >= len(all)/2 {
				critical = 1800
			}
			q := 1 / (1 + math.Exp(-math.Log(d.Reynolds.X/critical)/0.025))
			d.Pascal += off.heat*d.Heat + q*off.torn*d.Heat + q*d.Turbulent*off.exponent*math.Log(d.Reynolds.X/2300) + 0.01*r.NormFloat64()
		}
		fit := breakFit{place: []float64{math.Log(2360), math.Log(1830)}, scale: []float64{0.03, 0.03}}
		fit.add(0, all[:len(all)/2])
		fit.add(1, all[len(all)/2:])
		places := fit.fits()
		if places == nil {
			t.Errorf("%s: no fit", name)
			continue
		}
		for i, want := range []float64{2400, 1800} {
			p := places[i]
			off := p.at - math.Log(want)
			t.Logf("%s: %.0f is off by %.5f, own %.5f", name, want, off, p.own)
			// Student's quantile over its standard deviation, of 4 degrees of freedom and more.
			if student := p.half / p.own; student < 1.5 || student > 1.64 {
				t.Errorf("%s: half the interval is %.3f times its standard uncertainty", name, student)
			}
			if !p.bounded || math.Abs(off) > 0.0012 || p.own > 0.004 || math.Abs(off) > 3*p.own {
				t.Errorf("%s: %.0f is off by %.5f: %+v", name, want, off, p)
			}
		}
	}
}

// TestBranchesThatCross: where the laminar branch comes to lie above the turbulent one
// within the break, there is no Re midway between the two.
func TestBranchesThatCross(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 86))
	for gain, want := range map[float64]bool{1.1: true, 1.4: false} {
		all := append(drops(1900, 3100, 2400, -3, gain, 1, 0.001, r), drops(3000, 1500, 1750, -3, gain, 1, 0.001, r)...)
		estimates, err := Breaks(all, 0)
		if err != nil || len(estimates) < 1 {
			t.Fatal(len(estimates), err)
		}
		for _, e := range estimates {
			if e.Approach == Falling && (e.Fit != nil) != want {
				t.Errorf("laminar friction × %.1f: %+v", gain, e.Fit)
			}
		}
	}
}

// TestTheScatterWidensTheInterval: the same drops with shares that scatter more are known
// less well, and each direction by its own scatter.
func TestTheScatterWidensTheInterval(t *testing.T) {
	own := func(scatter float64) (rising, falling float64) {
		r := rand.New(rand.NewPCG(18, 87))
		all := append(drops(1900, 3100, 2400, 0, 1, 1, 0.005, r), drops(3000, 1500, 1800, 0, 1, 1, 0.005, r)...)
		for i := range len(all) / 2 {
			d := &all[i]
			q := 1 / (1 + math.Exp(-math.Log(d.Reynolds.X/2400)/0.025))
			d.Pascal += scatter * math.Sqrt(q*(1-q)) * (d.Turbulent - d.Laminar) * r.NormFloat64()
		}
		estimates, err := Breaks(all, 0)
		if err != nil || len(estimates) != 2 || estimates[0].Fit == nil || estimates[1].Fit == nil {
			t.Fatalf("%+v %v", estimates, err)
		}
		return estimates[0].Fit.Own, estimates[1].Fit.Own
	}
	r1, f1 := own(0.1)
	r2, f2 := own(0.3)
	if r2 < 1.7*r1 || f2/f1 > 0.7*r2/r1 {
		t.Errorf("rising %.4f, %.4f with three times the scatter; falling %.4f, %.4f with its own", r1, r2, f1, f2)
	}
}

// TestBreaksRefuses what is no drop, and a width that is none.
func TestBreaksRefuses(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 88))
	if _, err := Breaks(drops(1900, 3100, 2400, 0, 1, 1, 0.01, r), -1); err == nil {
		t.Error("a width below 0 passes")
	}
	all := drops(1900, 3100, 2400, 0, 1, 1, 0.01, r)
	all[3].Reynolds = uncertainty.Value{X: 2000, U: 3000}
	if _, err := Breaks(all, 0); err == nil {
		t.Error("an uncertainty greater than the value passes")
	}
}

// TestNothingOnTheBranches: drops that are all between the branches tell neither.
func TestNothingOnTheBranches(t *testing.T) {
	fit := breakFit{place: []float64{math.Log(2400)}, scale: []float64{0.025}}
	fit.add(0, drops(2310, 2490, 2400, 0, 1, 1, 0.01, rand.New(rand.NewPCG(18, 89))))
	if places := fit.fits(); places != nil {
		t.Errorf("%+v", places)
	}
}
