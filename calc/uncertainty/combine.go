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
