package series

import (
	"math"
	"slices"
)

// slopePoints bounds the points that a slope is taken from: 48 give 1128
// pairs, enough that the median's efficiency is no longer the limit.
const slopePoints = 48

// minSlope is the least number of points that have a slope.
const minSlope = 5

// Slope is the rate of change over the window, in units per second, by the
// median of all pairwise slopes (Theil 1950; Sen, J. Am. Stat. Assoc. 63
// (1968) 1379): up to 29 % of the points may be wild and it still stands.
//
// standardError is half of Sen's distribution-free interval at one standard
// deviation of Kendall's statistic, widened by √((1+r)/(1−r)) for
// autocorrelated residuals (r of lag 1, between 0 and 0.95). It knows nothing
// of the instrument: resolution and drift of the sensor are the caller's.
//
// ok is false with fewer than 5 points or less than a quarter of the span.
func (w *Window) Slope() (perSecond, standardError float64, ok bool) {
	if w.n < minSlope || 4*w.Covered() < w.span {
		return 0, 0, false
	}
	n := w.decimate()
	pairs := w.pairwise(n)
	perSecond = quantile(pairs, 0.5)
	// Kendall's S has this variance where nothing trends (Sen 1968, eq. 2.4).
	s := math.Sqrt(float64(n*(n-1)*(2*n+5)) / 18)
	half := s / float64(len(pairs)) / 2
	low, high := quantile(pairs, 0.5-half), quantile(pairs, 0.5+half)
	r := min(max(w.residualCorrelation(n, perSecond), 0), 0.95)
	return perSecond, (high - low) / 2 * math.Sqrt((1+r)/(1-r)), true
}

// decimate averages neighbouring points into at most slopePoints of them.
func (w *Window) decimate() int {
	stride := (w.n + slopePoints - 1) / slopePoints
	n := 0
	for i := 0; i < w.n; i += stride {
		end := min(i+stride, w.n)
		var t, v float64
		for k := i; k < end; k++ {
			t += w.at(k).at
			v += w.at(k).value
		}
		w.times[n], w.values[n] = t/float64(end-i), v/float64(end-i)
		n++
	}
	return n
}

func (w *Window) pairwise(n int) []float64 {
	pairs := w.pairs[:0]
	for i := 1; i < n; i++ {
		for k := 0; k < i; k++ {
			if dt := w.times[i] - w.times[k]; dt > 0 {
				pairs = append(pairs, (w.values[i]-w.values[k])/dt)
			}
		}
	}
	return pairs
}

// residualCorrelation is the lag-1 autocorrelation of what the slope leaves.
func (w *Window) residualCorrelation(n int, slope float64) float64 {
	var mean float64
	for i := range n {
		mean += (w.values[i] - slope*w.times[i]) / float64(n)
	}
	var previous, square, product float64
	for i := range n {
		e := w.values[i] - slope*w.times[i] - mean
		square += e * e
		product += e * previous
		previous = e
	}
	if square == 0 {
		return 0
	}
	// The mean taken out biases r low by about (1+4r)/n (Marriott and Pope,
	// Biometrika 41 (1954) 390; Kendall, the same volume, 403; both from
	// memory); that is added back. The slope taken out as well makes it 2.0/n at
	// r = 0 and 6.9/n at r = 0.8 (computed, n = 48); that part stays.
	r := product / square
	return r + (1+4*max(r, 0))/float64(n)
}

// quantile interpolates at fraction p of the values in their order. It moves
// the values about.
func quantile(values []float64, p float64) float64 {
	if len(values) == 0 {
		return 0
	}
	at := min(max(p, 0), 1) * float64(len(values)-1)
	i := min(int(at), len(values)-2)
	if i < 0 {
		return values[0]
	}
	choose(values, i)
	return values[i] + (at-float64(i))*(slices.Min(values[i+1:])-values[i])
}

// choose puts the value of rank k at its place, those below before it and those
// above behind it: Hoare's selection (Commun. ACM 4 (1961) 321), some five times
// faster than sorting a window's pairs.
func choose(values []float64, k int) {
	for low, high := 0, len(values)-1; low < high; {
		pivot := values[low+(high-low)/2]
		i, j := low, high
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return
		}
	}
}
