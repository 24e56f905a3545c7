package uncertainty

import "math"

// maxRectangles bounds the rectangular parts that a Sum keeps as such.
const maxRectangles = 3

// Sum is a sum of independent quantities, each normal or rectangular, that can
// tell the probability of lying below a limit. Its zero value is the constant
// 0. It is a plain value and allocates nothing.
//
// The distribution is exact as long as at most three parts are rectangular;
// then it is the convolution of the rectangles with the normal part in closed
// form. A rectangle with less than a tenth of the variance, and the smallest of
// more than three, is taken as normal with the same variance; with Lyapunov's
// expansion that moves a probability by less than 0.001.
type Sum struct {
	mean   float64
	normal float64 // variance of the normal part
	half   [maxRectangles]float64
	n      int
}

// Add adds a quantity with a mean, a standard uncertainty (0 or more, finite)
// and a shape.
func (s *Sum) Add(mean, u float64, shape Shape) {
	s.mean += mean
	u = math.Abs(u)
	switch {
	case shape != Rectangular:
		s.normal += u * u
	case s.n < maxRectangles:
		s.half[s.n] = u * math.Sqrt(3)
		s.n++
	default:
		// The widest rectangles stay, the narrowest goes to the normal part.
		half := u * math.Sqrt(3)
		for i := range s.half {
			if s.half[i] < half {
				s.half[i], half = half, s.half[i]
			}
		}
		s.normal += half * half / 3
	}
}

// Mean is the mean of the sum.
func (s *Sum) Mean() float64 { return s.mean }

// Variance is the variance of the sum.
func (s *Sum) Variance() float64 {
	v := s.normal
	for _, h := range s.half[:s.n] {
		v += h * h / 3
	}
	return v
}

// Below is the probability that the sum is less than x. With no uncertainty at
// all it is 0 or 1, and a half at x itself.
func (s *Sum) Below(x float64) float64 {
	variance := s.Variance()
	if variance == 0 {
		return step(x - s.mean)
	}
	t := *s
	t.foldNarrow(variance / 10)
	// A sum without normal part keeps a trace of one, so that nothing divides
	// by zero; 1e-6 of u moves no probability by more than 1e-6.
	t.normal = math.Max(t.normal, variance*1e-12)
	return t.convolved(x - s.mean)
}

func step(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return 0
	}
	return 0.5
}

// foldNarrow gives rectangles of less than the least variance to the normal part.
func (s *Sum) foldNarrow(least float64) {
	kept := 0
	for _, h := range s.half[:s.n] {
		if h*h/3 < least {
			s.normal += h * h / 3
			continue
		}
		s.half[kept] = h
		kept++
	}
	s.n = kept
}

// convolved is the distribution function of the centred sum: the n-fold
// difference of the n-fold integral of the normal distribution function,
// divided by the widths of the rectangles.
func (s *Sum) convolved(x float64) float64 {
	sigma := math.Sqrt(s.normal)
	reach, widths := 6.5*sigma, 1.0
	for _, h := range s.half[:s.n] {
		reach += h
		widths *= 2 * h
	}
	if math.Abs(x) >= reach {
		return step(x)
	}
	total := 0.0
	for corner := range 1 << s.n {
		at, sign := x, 1.0
		for i := range s.n {
			if corner>>i&1 == 0 {
				at += s.half[i]
			} else {
				at, sign = at-s.half[i], -sign
			}
		}
		total += sign * normalIntegral(s.n, at, sigma)
	}
	return math.Min(1, math.Max(0, total/widths))
}

// normalIntegral is the n-fold integral of the distribution function of a
// centred normal variable, by I(k) = (x·I(k−1) + σ²·I(k−2))/k, which integration
// by parts gives (DLMF 7.18.7, there for the error function).
func normalIntegral(n int, x, sigma float64) float64 {
	z := x / sigma
	before := math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
	value := math.Erfc(-z/math.Sqrt2) / 2
	for k := 1; k <= n; k++ {
		before, value = value, (x*value+sigma*sigma*before)/float64(k)
	}
	return value
}
