package transition

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
)

// Sameness is the test whether values measured apart are one value: Cochran's Q
// (Biometrics 10 (1954) 101), Q = Σ w·(x − m)², w = 1/u², m the weighted mean. Only
// the uncertainty that the values do NOT share may stand in the weights: what is
// common to all (bore, calibration of the meter) moves them together, cancels in
// their differences, and would hide one if it were counted.
type Sameness struct {
	Mean    float64
	U       float64 // standard uncertainty of Mean, with what is shared where that is given
	Q       float64
	Degrees int     // of freedom, one less than the values
	P       float64 // probability of such a Q, or a greater one, if the values are one
}

// Same tests values with the standard uncertainties that each has for itself
// (above 0, in the unit of the values); two values or more. Q is rough where the
// uncertainties come from few data.
func Same(values, own []float64) (Sameness, error) { return SameBut(values, own, nil) }

// SameBut is Same where causes move all values together, but not each by as much: a
// thermometer's error moves Re by 2.4 % a kelvin at 20 °C and by 1.4 % at 65 °C. shared
// has a row for each cause, with the standard uncertainty that it makes of each value,
// signed. Q is that of generalised least squares, (x − m)ᵀ·C⁻¹·(x − m) with
// C = diag(own²) + Σ s·sᵀ; a cause that moves all by as much leaves it as it is.
func SameBut(values, own []float64, shared [][]float64) (Sameness, error) {
	if len(values) != len(own) || len(values) < 2 {
		return Sameness{}, fmt.Errorf("transition: sameness: %d values with %d uncertainties; give two values or more, each with its own", len(values), len(own))
	}
	n := len(values)
	c := mat.NewSymDense(n, nil)
	for i, x := range values {
		if !(own[i] > 0) || math.IsInf(own[i], 0) || math.IsNaN(x) || math.IsInf(x, 0) {
			return Sameness{}, fmt.Errorf("transition: sameness: value %d: %g with the standard uncertainty %g; give numbers, the uncertainty above 0", i+1, x, own[i])
		}
		c.SetSym(i, i, own[i]*own[i])
	}
	for _, s := range shared {
		if len(s) != n || math.IsNaN(floats.Sum(s)) || math.IsInf(floats.Sum(s), 0) {
			return Sameness{}, fmt.Errorf("transition: sameness: a shared cause has %v for %d values; give a number for each", s, n)
		}
		v := mat.NewVecDense(n, s)
		c.SymRankOne(c, 1, v)
	}
	var solved mat.Cholesky
	if !solved.Factorize(c) {
		return Sameness{}, errors.New("transition: sameness: what the values share outweighs what each has for itself beyond what can be computed; give each its own uncertainty")
	}
	return sameness(mat.NewVecDense(n, values), &solved)
}

// sameness is the test with the covariance of the values factorised.
func sameness(values *mat.VecDense, c *mat.Cholesky) (s Sameness, err error) {
	n := values.Len()
	ones := mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
	}
	var weights, solved mat.VecDense
	if err := c.SolveVecTo(&weights, ones); err != nil {
		return s, fmt.Errorf("transition: sameness: %w", err)
	}
	sum := mat.Sum(&weights)
	s = Sameness{Mean: mat.Dot(&weights, values) / sum, U: 1 / math.Sqrt(sum), Degrees: n - 1}
	var apart mat.VecDense
	apart.AddScaledVec(values, -s.Mean, ones)
	if err := c.SolveVecTo(&solved, &apart); err != nil {
		return s, fmt.Errorf("transition: sameness: %w", err)
	}
	s.Q = mat.Dot(&apart, &solved)
	s.P = mathext.GammaIncRegComp(float64(s.Degrees)/2, s.Q/2)
	return s, nil
}

// SameOverTemperatures tests estimates of one limit and approach, each of a temperature,
// in ln Re, since most of what they share is
// relative. shared gives the relative standard uncertainties that an estimate's Re has
// from each cause that is common to all of them, in one order; it is taken out of what
// its observations have for themselves. What people said is taken as one ordered curve
// through all temperatures where it makes one. Used is how many temperatures had an
// interval; the others do not count, for where a bracket ends is chance (taken as
// rectangular, it called one value two in a fifth of simulated rigs). The result is in Re
// again.
func SameOverTemperatures(estimates []Estimate, shared func(Estimate) []float64) (s Sameness, used int, err error) {
	var values, own, rests []float64
	var causes [][]float64
	var groups [][]trial
	for _, e := range estimates {
		if e.Fit == nil || !e.Fit.Bounded {
			continue
		}
		rest := e.Relative * e.Relative
		for i, c := range shared(e) {
			rest -= c * c
			if len(values) == 0 {
				causes = append(causes, nil)
			}
			causes[i] = append(causes[i], c)
		}
		values = append(values, math.Log(e.Fit.Critical.X))
		own = append(own, e.Fit.Own)
		rests = append(rests, math.Sqrt(max(0, rest)))
		groups = append(groups, e.words)
	}
	if len(values) < 2 {
		return Sameness{}, len(values), nil
	}
	if w, ok := fitWords(groups, values); ok {
		values, own, causes = w.places, w.own, append(causes, w.shared[0], w.shared[1])
	}
	for i := range own {
		own[i] = math.Hypot(own[i], rests[i])
	}
	if s, err = SameBut(values, own, causes); err != nil {
		return Sameness{}, len(values), err
	}
	s.Mean = math.Exp(s.Mean)
	s.U *= s.Mean
	return s, len(values), nil
}
