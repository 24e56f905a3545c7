package series

import (
	"math"

	"flowrigd/calc/uncertainty"
)

// rising is how many standard errors a slope must be above zero to be called
// rising: 2 leave about 2 % of false ones, and an unsteady sign says nothing.
const rising = 2

// SecondsTo is the time in seconds until value, rising at slope per second,
// meets limit, by a straight line: (limit − value)/slope. Its uncertainty has
// the value's and the slope's (JCGM 100, 5.1.2); that the line bends is not in
// it. A value at or above the limit has 0 seconds. ok is false where the slope
// is not above zero by twice its standard uncertainty.
func SecondsTo(limit float64, value, slope uncertainty.Value) (seconds uncertainty.Value, ok bool) {
	if !(slope.X > 0 && slope.X > rising*slope.U) || math.IsNaN(limit-value.X) {
		return uncertainty.Value{}, false
	}
	t := math.Max(0, (limit-value.X)/slope.X)
	return uncertainty.Value{X: t, U: math.Hypot(value.U, t*slope.U) / slope.X}, true
}

// With is the mean as a test point's value: type A from the scatter and type B
// from the instrument in quadrature (JCGM 100, 4.3 and 5.1.2), with the
// effective degrees of freedom of Welch and Satterthwaite. The shape is type
// B's where type A is under a tenth of it, else normal.
func (a Average) With(typeB uncertainty.Value) (v uncertainty.Value, degreesOfFreedom float64) {
	sum := uncertainty.Combine(
		uncertainty.Contribution{U: a.StandardError, Sensitivity: 1, DoF: a.DegreesOfFreedom},
		uncertainty.Contribution{U: typeB.U, Sensitivity: 1},
	)
	v = uncertainty.Value{X: a.Mean, U: sum.U}
	if a.StandardError < typeB.U/10 {
		v.Shape = typeB.Shape
	}
	return v, sum.DoF
}
