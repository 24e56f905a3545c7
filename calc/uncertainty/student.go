package uncertainty

import "math"

// StudentT is the two-sided coverage factor of Student's t: the interval ±t
// holds the fraction p (0 to 1) of a t distribution with dof degrees of freedom
// (any positive number; +Inf gives the normal distribution). NaN for p outside
// 0 to 1 or dof not positive.
//
// JCGM 100:2008, table G.2, is this function.
func StudentT(p, dof float64) float64 {
	switch {
	case !(p > 0 && p < 1) || !(dof > 0):
		return math.NaN()
	case math.IsInf(dof, 1) || dof > 1e7:
		return math.Sqrt2 * math.Erfinv(p)
	}
	return studentNewton(p, dof)
}

// studentNewton solves coverage(t) = p inside a bracket; the bracket catches
// the steps that Newton's method would take out of the heavy tails.
func studentNewton(p, dof float64) float64 {
	low, high := 0.0, 1.0
	for coverage(high, dof) < p && high < 1e300 {
		low, high = high, high*4
	}
	t := (low + high) / 2
	for range 200 {
		miss := coverage(t, dof) - p
		if miss > 0 {
			high = t
		} else {
			low = t
		}
		next := t - miss/(2*studentDensity(t, dof))
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-t) <= 1e-14*t {
			return next
		}
		t = next
	}
	return t
}

// coverage is the probability that |T| is less than t.
func coverage(t, dof float64) float64 {
	return 1 - betaRegularised(dof/2, 0.5, dof/(dof+t*t))
}

func studentDensity(t, dof float64) float64 {
	a, _ := math.Lgamma((dof + 1) / 2)
	b, _ := math.Lgamma(dof / 2)
	return math.Exp(a-b-(dof+1)/2*math.Log1p(t*t/dof)) / math.Sqrt(dof*math.Pi)
}

// betaRegularised is the regularised incomplete beta function I_x(a, b) for
// 0 ≤ x ≤ 1, by its continued fraction (DLMF 8.17.22).
func betaRegularised(a, b, x float64) float64 {
	if x <= 0 || x >= 1 {
		return math.Max(0, math.Min(1, x))
	}
	// The fraction converges fast only on this side; DLMF 8.17.4 mirrors the other.
	if x > (a+1)/(a+b+2) {
		return 1 - betaRegularised(b, a, 1-x)
	}
	ga, _ := math.Lgamma(a)
	gb, _ := math.Lgamma(b)
	gab, _ := math.Lgamma(a + b)
	front := math.Exp(gab - ga - gb + a*math.Log(x) + b*math.Log1p(-x))
	return front / (a * betaFraction(a, b, x))
}

// betaFraction evaluates 1 + d1/(1 + d2/(1 + …)) by Lentz's method.
func betaFraction(a, b, x float64) float64 {
	const tiny = 1e-300
	f, c, d := 1.0, 1.0, 0.0
	for n := 1; n < 2000; n++ {
		term := betaTerm(a, b, x, n)
		d = 1 / nonzero(1+term*d, tiny)
		c = nonzero(1+term/c, tiny)
		f *= c * d
		if math.Abs(c*d-1) < 1e-16 {
			break
		}
	}
	return f
}

func betaTerm(a, b, x float64, n int) float64 {
	m := float64(n / 2)
	if n%2 == 0 {
		return m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
	}
	return -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
}

func nonzero(x, tiny float64) float64 {
	if math.Abs(x) < tiny {
		return tiny
	}
	return x
}
