package series

import (
	"math"
	"math/rand/v2"
	"testing"

	"flowrigd/calc/uncertainty"
)

func TestSecondsTo(t *testing.T) {
	value := func(x, u float64) uncertainty.Value { return uncertainty.Value{X: x, U: u} }
	rows := []struct {
		name         string
		limit        float64
		value, slope uncertainty.Value
		want, u      float64 // by hand
		ok           bool
	}{
		{"15 K at 0.05 K/s", 75, value(60, 0), value(0.05, 0), 300, 0, true},
		{"the temperature's share: 0.5 K is 10 s", 75, value(60, 0.5), value(0.05, 0), 300, 10, true},
		{"the slope's share: 10 % is 30 s", 75, value(60, 0), value(0.05, 0.005), 300, 30, true},
		{"both", 75, value(60, 0.5), value(0.05, 0.005), 300, math.Sqrt(1000), true},
		{"past the limit", 75, value(76, 0.5), value(0.05, 0), 0, 10, true},
		{"at rest", 75, value(60, 0.5), value(0, 0), 0, 0, false},
		{"falling", 75, value(60, 0.5), value(-0.05, 0), 0, 0, false},
		{"noise", 75, value(60, 0.5), value(0.01, 0.006), 0, 0, false},
		{"unknown", 75, value(math.NaN(), 0.5), value(0.05, 0), 0, 0, false},
		{"unknown slope", 75, value(60, 0.5), value(math.NaN(), 0), 0, 0, false},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			got, ok := SecondsTo(row.limit, row.value, row.slope)
			if ok != row.ok || math.Abs(got.X-row.want) > 1e-9 || math.Abs(got.U-row.u) > 1e-9 {
				t.Errorf("%g ± %g, %v; want %g ± %g, %v", got.X, got.U, ok, row.want, row.u, row.ok)
			}
		})
	}
}

// TestSecondsToMonteCarlo compares the uncertainty with a Monte Carlo (JCGM
// 101) where the slope is known to 5 %: the straight law holds within 2 %.
func TestSecondsToMonteCarlo(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 1))
	var mean, square float64
	const trials = 200000
	for i := range trials {
		s := (75 - (60 + 0.5*r.NormFloat64())) / (0.05 * (1 + 0.05*r.NormFloat64()))
		d := s - mean
		mean += d / float64(i+1)
		square += d * (s - mean)
	}
	got, _ := SecondsTo(75, uncertainty.Value{X: 60, U: 0.5}, uncertainty.Value{X: 0.05, U: 0.0025})
	if want := math.Sqrt(square / trials); math.Abs(got.U/want-1) > 0.02 {
		t.Errorf("u %.3f s, Monte Carlo %.3f s", got.U, want)
	}
}

func TestAverageWith(t *testing.T) {
	a := Average{Samples: 300, Mean: 2e-5, StandardError: 3e-8, DegreesOfFreedom: 8}
	v, dof := a.With(uncertainty.Value{X: 9, U: 4e-8, Shape: uncertainty.Rectangular})
	// Quadrature 3-4-5; Welch–Satterthwaite 8·(5/3)⁴ = 61.7.
	if v.X != 2e-5 || math.Abs(v.U-5e-8) > 1e-20 || v.Shape != uncertainty.Normal || math.Abs(dof-61.728) > 1e-3 {
		t.Errorf("%+v, %g degrees of freedom", v, dof)
	}
	if v, _ = a.With(uncertainty.Value{U: 4e-7, Shape: uncertainty.Rectangular}); v.Shape != uncertainty.Rectangular {
		t.Error("a maker's limit that rules the sum is no longer rectangular")
	}
}
