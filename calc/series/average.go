package series

import "math"

// minAverage is the least number of samples that Average judges.
const minAverage = 8

// Average is the type A evaluation of a series (JCGM 100, 4.2).
type Average struct {
	Samples          int
	Mean             float64
	Deviation        float64 // experimental standard deviation of one sample
	StandardError    float64 // standard uncertainty of the mean
	DegreesOfFreedom float64 // of StandardError
}

// EffectiveSamples is the number of independent samples that would give the
// same standard error: fewer than Samples where neighbours resemble each
// other. It is 0 for a constant series, which has no scatter to judge by.
func (a Average) EffectiveSamples() float64 {
	if a.StandardError == 0 {
		return 0
	}
	r := a.Deviation / a.StandardError
	return r * r
}

// AverageOf gives the mean of evenly spaced samples with a standard error that
// allows for autocorrelation. ok is false under 8 samples or where one is not
// finite.
//
// The variance of the mean is the series' power at the lowest frequencies:
// the mean of 8 squared cosine coefficients (fewer under 16 samples). The
// mean's error over its root is Student's t with as many degrees of freedom,
// whatever the correlation, as long as it dies out within about a thirtieth of
// the series: Lazarus, Lewis, Stock and Watson, J. Bus. Econ. Stat. 36 (2018)
// 541 (from memory), with fewer coefficients than they take, for series as
// correlated as a bench's. A slow trend enters the standard error too, as it
// should.
func AverageOf(samples []float64) (a Average, ok bool) {
	if len(samples) < minAverage {
		return Average{}, false
	}
	a = average(len(samples), func(i int) float64 { return samples[i] })
	return a, !math.IsNaN(a.StandardError) && !math.IsInf(a.StandardError, 0)
}

func average(n int, value func(int) float64) Average {
	var mean, square float64
	for i := range n {
		d := value(i) - mean
		mean += d / float64(i+1)
		square += d * (value(i) - mean)
	}
	q := min(8, n/2)
	centred := func(i int) float64 { return value(i) - mean }
	return Average{
		Samples:          n,
		Mean:             mean,
		Deviation:        math.Sqrt(square / float64(n-1)),
		StandardError:    math.Sqrt(lowPower(n, centred, 1, q) / float64(n)),
		DegreesOfFreedom: float64(q),
	}
}

// lowPower is the mean square of the orthonormal cosine coefficients from to
// from+count-1 of n values: the variance of one white sample that would have
// the same power at these frequencies.
func lowPower(n int, value func(int) float64, from, count int) float64 {
	var sum float64
	for j := from; j < from+count; j++ {
		c := cosineCoefficient(n, value, j)
		sum += c * c
	}
	return sum / float64(count)
}

// cosineCoefficient is √(2/n)·Σ value(i)·cos(πj(i+½)/n), the cosines by their
// three-term recurrence.
func cosineCoefficient(n int, value func(int) float64, j int) float64 {
	step := math.Pi * float64(j) / float64(n)
	twice := 2 * math.Cos(step)
	now := math.Cos(step / 2)
	before := now // cos(−step/2) = cos(step/2)
	var sum float64
	for i := range n {
		sum += value(i) * now
		now, before = twice*now-before, now
	}
	return sum * math.Sqrt(2/float64(n))
}
