package uncertainty

import "math"

// Contribution is one row of an uncertainty budget.
type Contribution struct {
	Name        string
	X           float64 // the estimate of the input
	U           float64 // its standard uncertainty
	Sensitivity float64 // change of the result for a change of the input
	DoF         float64 // degrees of freedom of U; 0 means infinite (type B, U taken as known)
}

// Share is the row's part in the result's standard uncertainty, |c|·u, in the
// unit of the result.
func (c Contribution) Share() float64 { return math.Abs(c.Sensitivity) * c.U }

// Combined is the combined standard uncertainty of a result.
type Combined struct {
	U   float64
	DoF float64 // effective degrees of freedom, not rounded; +Inf if no row limits them
}

// Combine adds uncorrelated contributions in quadrature (JCGM 100:2008, 5.1.2,
// equation 10) and their degrees of freedom after Welch and Satterthwaite
// (G.4.1, equation G.2b).
func Combine(rows ...Contribution) Combined {
	variance, fourth := 0.0, 0.0
	for _, row := range rows {
		share := row.Share()
		variance += share * share
		if row.DoF > 0 {
			fourth += share * share * share * share / row.DoF
		}
	}
	dof := math.Inf(1)
	if fourth > 0 {
		dof = variance * variance / fourth
	}
	return Combined{U: math.Sqrt(variance), DoF: dof}
}

// Expanded is the expanded uncertainty for a coverage probability p (0 to 1),
// with Student's t at the degrees of freedom cut to the next lower integer
// (JCGM 100:2008, G.4.1). It is NaN for p outside 0 to 1.
func (c Combined) Expanded(p float64) float64 {
	dof := c.DoF
	if !math.IsInf(dof, 1) {
		dof = math.Max(1, math.Floor(dof))
	}
	return StudentT(p, dof) * c.U
}

// CombineCorrelated is the combined standard uncertainty of one result from
// sensitivities and the covariance matrix of the inputs (JCGM 100:2008, 5.2.2,
// equation 13). No effective degrees of freedom follow: Welch and Satterthwaite
// is not valid for correlated inputs.
func CombineCorrelated(sensitivity []float64, covariance [][]float64) float64 {
	v := Propagate([][]float64{sensitivity}, covariance)
	return math.Sqrt(math.Max(0, v[0][0]))
}

// Propagate is the covariance matrix of several results: J·V·Jᵀ, where J has a
// row of sensitivities for each result and V is the covariance matrix of the
// inputs (JCGM 100:2008, 5.2.2 and H.2.3; JCGM 102:2011, 6.2.1).
func Propagate(jacobian, covariance [][]float64) [][]float64 {
	out := make([][]float64, len(jacobian))
	for i := range jacobian {
		out[i] = make([]float64, len(jacobian))
		for j := range jacobian {
			out[i][j] = quadratic(jacobian[i], covariance, jacobian[j])
		}
	}
	return out
}

func quadratic(a []float64, v [][]float64, b []float64) float64 {
	sum := 0.0
	for i := range a {
		for j := range b {
			sum += a[i] * v[i][j] * b[j]
		}
	}
	return sum
}
