package transition

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Sameness is the test whether values measured apart are one value: Cochran's Q
// (Biometrics 10 (1954) 101), Q = Σ w·(x − m)², w = 1/u², m the weighted mean. Only
// the uncertainty that the values do NOT share may stand in the weights: what is
// common to all (bore, calibration of the meter) moves them together, cancels in
// their differences, and would hide one if it were counted.
type Sameness struct {
	Mean    float64
	U       float64 // standard uncertainty of Mean, without what is shared
	Q       float64
	Degrees int     // of freedom, one less than the values
	P       float64 // probability of such a Q, or a greater one, if the values are one
}

// Same tests values with the standard uncertainties that each has for itself
// (above 0, in the unit of the values); two values or more. Q is rough where the
// uncertainties come from few data.
func Same(values, own []float64) (Sameness, error) {
	if len(values) != len(own) || len(values) < 2 {
		return Sameness{}, fmt.Errorf("transition: sameness: %d values with %d uncertainties; give two values or more, each with its own", len(values), len(own))
	}
	var weights, sum float64
	for i, x := range values {
		if !(own[i] > 0) || math.IsInf(own[i], 0) || math.IsNaN(x) || math.IsInf(x, 0) {
			return Sameness{}, fmt.Errorf("transition: sameness: value %d: %g with the standard uncertainty %g; give numbers, the uncertainty above 0", i+1, x, own[i])
		}
		w := 1 / (own[i] * own[i])
		weights += w
		sum += w * x
	}
	s := Sameness{Mean: sum / weights, U: 1 / math.Sqrt(weights), Degrees: len(values) - 1}
	for i, x := range values {
		s.Q += math.Pow((x-s.Mean)/own[i], 2)
	}
	s.P = mathext.GammaIncRegComp(float64(s.Degrees)/2, s.Q/2)
	return s, nil
}

// SameOverTemperatures tests the onset of disturbance of one approach over the
// temperatures of estimates (as Analyse gives them), in ln Re, since most of what
// they share is relative: shared is that relative standard uncertainty, taken out
// of every observation's. Used is how many temperatures had a value. A temperature
// whose data give an interval counts with its fit, another one with the middle of
// its bracket, rectangular over it. The result is in Re again.
func SameOverTemperatures(estimates []Estimate, a Approach, shared float64) (s Sameness, used int, err error) {
	var values, own []float64
	for _, e := range estimates {
		if e.Pooled || e.Limit != Onset || e.Approach != a || !e.Known {
			continue
		}
		x, u := math.Log(e.Critical.X), math.Abs(e.LowestAbove.X-e.HighestBelow.X)/2/math.Sqrt(3)/e.Critical.X
		if e.Fit != nil && e.Fit.Bounded {
			x, u = math.Log(e.Fit.Critical.X), e.Fit.Own
		}
		values = append(values, x)
		own = append(own, math.Hypot(u, math.Sqrt(max(0, e.Relative*e.Relative-shared*shared))))
	}
	if len(values) < 2 {
		return Sameness{}, len(values), nil
	}
	if s, err = Same(values, own); err != nil {
		return Sameness{}, len(values), err
	}
	s.Mean = math.Exp(s.Mean)
	s.U *= s.Mean
	return s, len(values), nil
}
