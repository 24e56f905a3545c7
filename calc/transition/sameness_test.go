package transition

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// linear is a problem in Re itself, not in ln Re, since the check values are.
func linear(letters string, re ...float64) problem {
	p := problem{centre: uncertainty.Mean(re), low: math.Inf(1), high: math.Inf(-1), scale: 100}
	for i, r := range re {
		x := (r - p.centre) / p.scale
		y := 1.0
		if letters[i] == 'L' {
			y = 0
		}
		p.x, p.y, p.many = append(p.x, x), append(p.y, y), append(p.many, 1)
		p.low, p.high = min(p.low, x), max(p.high, x)
	}
	return p
}

// TestProfileInterval: three sets with the answers of an independent computation of
// the same penalised likelihood, logistic in Re, profile interval at 95 %
// (χ² 3.8415). The third has too few runs: its interval goes beyond the observed
// Re, and none may be stated.
func TestProfileInterval(t *testing.T) {
	rows := []struct {
		name                       string
		letters                    string
		re                         []float64
		critical, scale, low, high float64 // high 0: no interval
	}{
		{"twelve, separated", "LLLLLLTTTTTT", []float64{1850, 1900, 1950, 2000, 2050, 2100, 2150, 2200, 2250, 2300, 2350, 2400}, 2125.0, 53.9, 2001, 2249},
		{"three at each of four", "LLLLLLTTTTTT", []float64{2000, 2000, 2000, 2100, 2100, 2100, 2200, 2200, 2200, 2300, 2300, 2300}, 2150.0, 30.4, 2074, 2226},
		{"six runs", "LLLTTT", []float64{1900, 2000, 2100, 2200, 2300, 2400}, 2150.0, 88.6, 0, 0},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			p := linear(row.letters, row.re...)
			b, ok := p.solve()
			if !ok {
				t.Fatal("no fit")
			}
			re := func(x float64) float64 { return p.centre + p.scale*x }
			near(t, "critical", re(-b.constant/b.slope), row.critical, 1e-6)
			near(t, "scale", p.scale/b.slope, row.scale, 2e-3) // three digits
			low, high, ok := p.interval(b, 3.841458821)
			if ok != (row.high > 0) {
				t.Fatalf("interval %v: %g to %g", ok, re(low), re(high))
			}
			if ok && (math.Abs(re(low)-row.low) > 0.6 || math.Abs(re(high)-row.high) > 0.6) {
				t.Errorf("%.1f to %.1f, want %g to %g", re(low), re(high), row.low, row.high)
			}
		})
	}
}

// TestIntervalCoverage: made observations with a known truth on twelve flows; the
// interval of level 0.9 holds it about nine times in ten.
func TestIntervalCoverage(t *testing.T) {
	const truth, scale, sets = 2300.0, 0.05, 400
	r := rand.New(rand.NewPCG(2002, 2409))
	held, bounded := 0, 0
	for range sets {
		var all []Observation
		for i := range 24 {
			re := 1700 + 1300*float64(i%12)/11
			letter := "L"
			if r.Float64() < 1/(1+math.Exp(-math.Log(re/truth)/scale)) {
				letter = "T"
			}
			all = append(all, seen(letter, re)...)
		}
		if f := fit(all, Onset); f != nil && f.Bounded {
			bounded++
			if f.Low <= truth && truth <= f.High {
				held++
			}
		}
	}
	share := float64(held) / float64(bounded)
	t.Logf("%d of %d sets bounded, coverage %.3f", bounded, sets, share)
	if bounded < sets*9/10 || share < 0.85 || share > 0.95 {
		t.Errorf("%d of %d sets bounded, coverage %.3f; want 90 %% and 0.85 to 0.95", bounded, sets, share)
	}
}

// TestTheIntervalKeepsTheCommonUncertainty: 1.6449 standard uncertainties of what
// all Re share, in quadrature with each side.
func TestTheIntervalKeepsTheCommonUncertainty(t *testing.T) {
	re := []float64{1850, 1900, 1950, 2000, 2050, 2100, 2150, 2200, 2250, 2300, 2350, 2400}
	o := seen("LLLLLLTTTTTT", re...)
	exact := fit(o, Onset)
	for i := range o {
		o[i].Reynolds.U = 0.03 * o[i].Reynolds.X
	}
	shared := fit(o, Onset)
	if exact == nil || shared == nil || !exact.Bounded || !shared.Bounded {
		t.Fatal("no interval")
	}
	side := func(f *Fit) float64 { return math.Log(f.High / f.Critical.X) }
	near(t, "upper side", side(shared), math.Hypot(side(exact), 1.644854*0.03), 1e-6)
	near(t, "own", shared.Own, exact.Own, 1e-12)
}

// TestSame: four values, their own uncertainties, and 35 more that all share. The
// full covariance gives Q = 15.996; what is shared counted as each one's own hides
// the difference. Computed independently in double precision.
func TestSame(t *testing.T) {
	values, own := []float64{2105, 2150, 2060, 2190}, []float64{22, 25, 30, 20}
	s, err := Same(values, own)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", s.Mean, 2137.2, 3e-5)
	near(t, "Q", s.Q, 16.00, 5e-4)
	near(t, "p", s.P, 0.0011, 0.05)
	near(t, "u", s.U, 11.7, 5e-3)
	if s.Degrees != 3 {
		t.Errorf("%d degrees, want 3", s.Degrees)
	}
	for i := range own {
		own[i] = math.Hypot(own[i], 35)
	}
	hidden, err := Same(values, own)
	if err != nil {
		t.Fatal(err)
	}
	all, err := SameBut(values, []float64{22, 25, 30, 20}, [][]float64{{35, 35, 35, 35}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Q with the full covariance", all.Q, 15.996, 1e-4)
	near(t, "u with all in it", all.U, 36.9, 3e-3)
	near(t, "Q with the shared part counted", hidden.Q, 5.10, 2e-3)
	near(t, "its p", hidden.P, 0.16, 0.04)
}

func TestSameRefuses(t *testing.T) {
	for name, in := range map[string][2][]float64{
		"one":              {{1}, {1}},
		"lengths":          {{1, 2}, {1}},
		"exact":            {{1, 2}, {1, 0}},
		"unknown":          {{1, math.NaN()}, {1, 1}},
		"boundless":        {{1, 2}, {1, math.Inf(1)}},
		"no uncertainties": {{1, 2}, {math.NaN(), 1}},
	} {
		if s, err := Same(in[0], in[1]); err == nil || !strings.Contains(err.Error(), "sameness") {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
}

// sweep is what would be seen at one temperature around a critical Re.
func sweep(celsius, critical, relative float64) (all []Observation) {
	for i := range 12 {
		re := critical * (0.87 + 0.02*float64(i))
		o := Observation{Reynolds: uncertainty.Value{X: re, U: relative * re}, Celsius: celsius, Seen: quantity.Laminar, Approach: Rising}
		if re > critical {
			o.Seen = quantity.Transitional
		}
		all = append(all, o)
	}
	return all
}

// TestSameOverTemperatures: what is shared does not hide a shift of 10 %, and what
// is not shared does count.
func TestSameOverTemperatures(t *testing.T) {
	test := func(shift, shared float64) Sameness {
		t.Helper()
		all := append(append(sweep(20, 2200, 0.05), sweep(40, 2200, 0.05)...), sweep(60, 2200*shift, 0.05)...)
		estimates, err := Analyse(all, 0)
		if err != nil {
			t.Fatal(err)
		}
		estimates = slices.DeleteFunc(estimates, func(e Estimate) bool { return e.Pooled || e.Limit != Onset || e.Approach != Unstated })
		s, used, err := SameOverTemperatures(estimates, func(Estimate) []float64 { return []float64{shared} })
		if err != nil || used != 3 {
			t.Fatal(used, err)
		}
		return s
	}
	if s := test(1, 0.05); s.P < 0.9 || math.Abs(s.Mean/2200-1) > 0.01 {
		t.Errorf("one value: %+v", s)
	}
	if s := test(1.1, 0.05); s.P > 0.01 {
		t.Errorf("one shifted by 10 %%: %+v", s)
	}
	if s := test(1.1, 0); s.P < 0.2 {
		t.Errorf("shifted by 10 %%, each sure to 5 %% for itself: %+v", s)
	}
	if _, used, err := SameOverTemperatures(nil, nil); used != 0 || err != nil {
		t.Errorf("of nothing: %d, %v", used, err)
	}
}

// TestThreadFlow: through 0.5 mm at twice the mean velocity 0.154 m/s (13 mm, Re
// 2000, 20 °C) some 3.6 mL/min.
func TestThreadFlow(t *testing.T) {
	q, err := ThreadFlow(0.5e-3, 2*0.154)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mL/min", q*60e6, 3.63, 2e-3)
	for _, bad := range [][2]float64{{0, 1}, {math.NaN(), 1}, {0.02, 1}, {5e-4, 0}, {5e-4, math.NaN()}} {
		if _, err := ThreadFlow(bad[0], bad[1]); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

// TestFloorOf: the law's own table, Re 1790 for 70, 1843 for 300, 1904 for 3000.
func TestFloorOf(t *testing.T) {
	for diameters, want := range map[float64]float64{70: 1790, 300: 1843, 3000: 1904} {
		got, err := FloorOf(diameters)
		if err != nil || math.Abs(got-want) > 0.6 {
			t.Errorf("%g diameters: %.1f, %v; want %g", diameters, got, err, want)
		}
	}
	for _, bad := range []float64{0, 2, math.NaN(), 1e8} {
		if _, err := FloorOf(bad); err == nil {
			t.Errorf("%g: no error", bad)
		}
	}
}
