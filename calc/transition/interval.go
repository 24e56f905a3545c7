package transition

import "math"

// IntervalLevel is the confidence level of Fit's interval.
const IntervalLevel = 0.9

// The quantiles for it: of χ² with one degree of freedom, and its root.
var (
	intervalZ          = math.Sqrt2 * math.Erfinv(IntervalLevel)
	intervalChiSquared = intervalZ * intervalZ
)

// interval is where the profile of the penalised likelihood over Re at p = ½ lies
// within half the quantile of χ² of its summit (Heinze and Schemper, Stat. Med. 21
// (2002) 2409). ok is false where an end would lie beyond the observed Re: there
// the curve alone would speak, and no observation.
func (p problem) interval(summit coefficients, chiSquared float64) (low, high float64, ok bool) {
	least := p.likelihood(summit) - chiSquared/2
	x := -summit.constant / summit.slope
	above := func(at float64) float64 { return p.profile(at, summit.slope) - least }
	atLow, atHigh := above(p.low), above(p.high)
	if atLow >= 0 || atHigh >= 0 {
		return 0, 0, false
	}
	return crossing(above, p.low, x, atLow, chiSquared/2), crossing(above, p.high, x, atHigh, chiSquared/2), true
}

// crossing finds where f is 0 between a, where it is fa below 0, and b, where it is
// fb above: false position, with the value of an end that stays halved (Illinois).
func crossing(f func(float64) float64, a, b, fa, fb float64) float64 {
	const enough = 1e-6 // of χ²/2
	side := 0
	for range 100 {
		x := (a*fb - b*fa) / (fb - fa)
		fx := f(x)
		switch {
		case math.Abs(fx) < enough:
			return x
		case fx < 0:
			if a, fa = x, fx; side < 0 {
				fb /= 2
			}
			side = -1
		default:
			if b, fb = x, fx; side > 0 {
				fa /= 2
			}
			side = 1
		}
	}
	return (a + b) / 2
}

// profile is the highest penalised likelihood of curves that rise through ½ at x.
func (p problem) profile(x, slope float64) float64 {
	of := func(s float64) float64 { return p.likelihood(coefficients{-x * s, s}) }
	low, high := 0.0, slope/16
	for best := of(low); of(high) > best && high < slope*1e6; low, high = high/2, high*2 {
		best = of(high)
	}
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	fa, fb := of(a), of(b)
	for range 18 { // to 2e-4 of the slope: the summit is flat
		if fa > fb {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			fa = of(a)
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			fb = of(b)
		}
	}
	return max(fa, fb, of(0))
}
