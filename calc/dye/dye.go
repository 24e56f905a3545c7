// Package dye owns what a photodiode behind the tube says of the dye thread: whether
// the thread is torn, for what share of the time, and how well that share is known.
//
//	light → Taking (the still thread) → Still
//	light → Watch (flicker over half a second, against the still thread's) → spells → Share
//
// It knows no clock (every reading brings its own monotonic time) and no flow: whether a
// thread can be still at all is for the caller to ask. It does not see that there is a
// thread: where the dye has run out the light is as steady as behind a still one.
package dye

import (
	"math"
	"time"
)

// The flicker is taken over half a second, and over four readings where that holds
// fewer: a torn thread sweeps past in some tenths of a second (an eddy of a third of
// the bore at some cm/s), and of three readings one set in thirty looks still by
// chance while the thread is torn. Common practice, no source.
const (
	flickerSpan     = 500 * time.Millisecond
	flickerReadings = 4
)

const (
	// The thread counts as still again below half of what counts as torn, so that
	// one wild reading parts no stretch.
	stillAgain = 0.5
	// leastFlicker is taken for a still thread that flickers less: one code of a
	// converter of a thousand is no torn thread.
	leastFlicker = 0.001
	// dark is the part of the still thread's light below which nothing is judged:
	// the lamp is out, or the diode has come off. Dye across the tube takes less away.
	dark = 0.1
	// gap is after how many missed readings the thread was not watched.
	gap = 3
)

// Setting is how a thread is watched.
type Setting struct {
	Every     time.Duration // between two readings, above 0
	TornAbove float64       // times the still thread's own flicker, above 1
}

// readings is how many readings make one flicker.
func (s Setting) readings() int {
	return max(flickerReadings, int((flickerSpan+s.Every-1)/s.Every))
}

// flicker holds the newest readings of the light.
type flicker struct {
	at    []time.Duration
	light []float64
	most  int
	far   time.Duration // two readings that are further apart do not belong together
}

func newFlicker(s Setting) flicker {
	return flicker{most: s.readings(), far: gap * s.Every}
}

// add takes a reading, and says whether it follows the one before.
func (f *flicker) add(at time.Duration, light float64) (follows bool) {
	if n := len(f.at); n > 0 {
		follows = at-f.at[n-1] <= f.far
		if !follows {
			f.at, f.light = f.at[:0], f.light[:0]
		}
	}
	if len(f.at) == f.most {
		copy(f.at, f.at[1:])
		copy(f.light, f.light[1:])
		f.at, f.light = f.at[:f.most-1], f.light[:f.most-1]
	}
	f.at, f.light = append(f.at, at), append(f.light, light)
	return follows
}

// of is the mean of the light and its standard deviation about that mean (n − 1); ok is
// false until there are readings enough.
func (f *flicker) of() (mean, deviation float64, ok bool) {
	if len(f.light) < f.most {
		return 0, 0, false
	}
	for _, v := range f.light {
		mean += v
	}
	mean /= float64(f.most)
	sum := 0.0
	for _, v := range f.light {
		sum += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sum / float64(f.most-1)), true
}

// begin is when the readings that are held begin: half an interval before the first.
func (f *flicker) begin() time.Duration {
	n := len(f.at)
	return f.at[0] - (f.at[n-1]-f.at[0])/time.Duration(2*(n-1))
}
