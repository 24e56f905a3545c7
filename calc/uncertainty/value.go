// Package uncertainty owns measurement uncertainty after JCGM 100:2008: a
// value with its standard uncertainty, the combination of contributions, the
// expanded uncertainty, and the probability that a sum of contributions lies
// below a limit.
//
//	Value → Contribution (value, u, sensitivity, degrees of freedom) → Combine → Combined → Expanded
//
// It knows no physics: the sensitivities come from the package that owns the
// formula. It draws no random numbers.
package uncertainty

import (
	"math"
)

// Shape is the distribution assigned to a value.
type Shape uint8

// The shapes. The zero value is normal.
const (
	Normal      Shape = iota
	Rectangular       // limits of error, every value between them as likely
)

// Value is an estimate and its standard uncertainty.
type Value struct {
	X     float64 // SI units, or degrees Celsius
	U     float64 // standard uncertainty, in the unit of X (kelvin for degrees Celsius)
	Shape Shape
}

// Expanded makes a Value from an expanded uncertainty and its coverage factor
// (JCGM 100:2008, 4.3.3). A coverage factor of 0 or less is taken as 1.
func Expanded(x, expanded, k float64) Value {
	if k <= 0 {
		k = 1
	}
	return Value{X: x, U: math.Abs(expanded) / k}
}

// Limits makes a Value from limits of error ±halfWidth, rectangular
// (JCGM 100:2008, 4.3.7).
func Limits(x, halfWidth float64) Value {
	return Value{X: x, U: math.Abs(halfWidth) / math.Sqrt(3), Shape: Rectangular}
}

// Relative is U divided by the size of X; infinite for X = 0 with U > 0, and
// 0 for a value that is exactly known.
func (v Value) Relative() float64 {
	if v.U == 0 {
		return 0
	}
	return v.U / math.Abs(v.X)
}

// Sample is the mean of observations as a Value with the standard uncertainty
// of the mean, and its degrees of freedom (JCGM 100:2008, 4.2.3). The
// observations are taken as independent. Fewer than two tell no uncertainty:
// U is then infinite and dof 0.
func Sample(observed []float64) (v Value, dof float64) {
	n := float64(len(observed))
	if n == 0 {
		return Value{X: math.NaN(), U: math.Inf(1)}, 0
	}
	mean := Mean(observed)
	if n < 2 {
		return Value{X: mean, U: math.Inf(1)}, 0
	}
	squares := 0.0
	for _, x := range observed {
		squares += (x - mean) * (x - mean)
	}
	return Value{X: mean, U: math.Sqrt(squares / (n * (n - 1)))}, n - 1
}

// Mean is the arithmetic mean; NaN of nothing.
func Mean(observed []float64) float64 {
	sum := 0.0
	for _, x := range observed {
		sum += x
	}
	return sum / float64(len(observed))
}

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

// Quadrature is the square root of the sum of squares, how independent standard
// uncertainties of one unit add up; NaN where one was never stated.
func Quadrature(parts ...float64) float64 {
	sum := 0.0
	for _, part := range parts {
		sum += part * part
	}
	return math.Sqrt(sum)
}

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
