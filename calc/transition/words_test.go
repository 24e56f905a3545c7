package transition

import (
	"math"
	"math/rand/v2"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// spoken is what a person would say at four temperatures on twelve flows each: not laminar
// from begun, turbulent from whole, each blurred by scale of ln Re. shift moves the third,
// with its flows.
func spoken(r *rand.Rand, begun, whole, scale, shift float64) (all []Estimate) {
	for k, celsius := range []float64{20, 35, 50, 65} {
		var list []Observation
		for i := range 12 {
			re := 1700 + 75*float64(i)
			o := Observation{Reynolds: uncertainty.Value{X: re}, Celsius: celsius, Seen: quantity.Laminar, Approach: Rising}
			z := r.Float64()
			x := math.Log(re) + scale*math.Log(z/(1-z))
			if k == 2 {
				o.Reynolds.X *= shift
			}
			if x > math.Log(whole) {
				o.Seen = quantity.Turbulent
			} else if x > math.Log(begun) {
				o.Seen = quantity.Transitional
			}
			list = append(list, o)
		}
		all = append(all, estimate(list, Half, Unstated))
	}
	return all
}

// TestSamenessOfWords: what people say, drawn many times from the very curve, is called not
// the same at the level of the test, and a shift of 10 % of one temperature is found.
func TestSamenessOfWords(t *testing.T) {
	sets, most := 100, 12
	if testing.Short() { // few, with the race detector
		sets, most = 20, 4
	}
	r := rand.New(rand.NewPCG(1980, 109))
	nothing := func(Estimate) []float64 { return nil }
	for _, c := range []struct{ begun, whole, scale float64 }{{2000, 2250, 0.02}, {1900, 2350, 0.015}} {
		var rejected, found, tests int
		for range sets {
			for _, shift := range []float64{1, 1.1} {
				s, used, err := SameOverTemperatures(spoken(r, c.begun, c.whole, c.scale, shift), nothing)
				switch {
				case err != nil:
					t.Fatal(err)
				case used < 4:
				case shift != 1:
					found += btoi(s.P < 0.05)
				default:
					tests++
					rejected += btoi(s.P < 0.05)
				}
			}
		}
		t.Logf("%+v: rejected %d of %d, found %d", c, rejected, tests, found)
		if tests < sets*9/10 || rejected > most || rejected == 0 || found < sets*8/10 {
			t.Errorf("%+v: rejected in %d of %d, found %d of %d", c, rejected, tests, found, sets)
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// TestWordsWithoutASummit: where nothing was called transitional, or one temperature has no
// words, there is no ordered curve, and the test of sameness takes each temperature's own.
func TestWordsWithoutASummit(t *testing.T) {
	r := rand.New(rand.NewPCG(2014, 1))
	all := spoken(r, 2100, 2100, 0.02, 1)
	var groups [][]trial
	var values, own []float64
	for _, e := range all {
		groups = append(groups, e.words)
		values, own = append(values, math.Log(e.Fit.Critical.X)), append(own, e.Fit.Own)
	}
	if w, ok := fitWords(groups, values); ok {
		t.Errorf("a curve without a word in the middle: %+v", w)
	}
	if w, ok := fitWords([][]trial{groups[0], nil}, values); ok {
		t.Errorf("a curve without words: %+v", w)
	}
	got, used, err := SameOverTemperatures(all, func(Estimate) []float64 { return nil })
	want, _ := Same(values, own)
	if err != nil || used != 4 || math.Abs(got.Q/want.Q-1) > 1e-9 {
		t.Errorf("%+v of %d, %v; want %+v", got, used, err, want)
	}
}

// TestWordsScore: at the fit neither a place, nor the gap with the penalty, can be
// bettered, by the likelihood itself.
func TestWordsScore(t *testing.T) {
	r := rand.New(rand.NewPCG(1980, 2))
	o := ordered{gap: 0.05, scale: 0.02}
	for _, e := range spoken(r, 2000, 2250, 0.02, 1) {
		o.groups = append(o.groups, e.words)
		o.places = append(o.places, math.Log(e.Fit.Critical.X))
	}
	if !o.climb() {
		t.Fatal("no summit")
	}
	l := func(o ordered) float64 {
		sum := o.penalty(0, 0)
		for i, g := range o.groups {
			for _, x := range g {
				p, _ := o.look(x, o.places[i], x.share)
				sum += math.Log(p)
			}
		}
		return sum
	}
	top := l(o)
	for _, by := range []float64{0.98, 1.02} {
		wider, slower := o, o
		wider.gap, slower.scale = o.gap*by, o.scale*by
		if l(wider) >= top || l(slower) >= top {
			t.Errorf("times %g: %g and %g, at the summit %g", by, l(wider), l(slower), top)
		}
	}
}
