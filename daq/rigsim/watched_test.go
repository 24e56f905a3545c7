package rigsim

import (
	"math"
	"testing"
	"time"

	thread "flowrigd/calc/dye"
	"flowrigd/calc/quantity"
)

// The light alone tells the share of torn time that the rig truly had: over seeded rigs
// near their thresholds, five readings a second of a converter of a thousand.
func TestTheLightTellsTheTrueShare(t *testing.T) {
	const rigs = 20
	within, n, bias, worst := 0, 0, 0.0, 0.0
	for seed := range uint64(rigs) {
		rate := thread.Setting{Every: 200 * time.Millisecond, TornAbove: 5}
		threshold := newPlant(seed, setting{30, 1000, 3.5}, true).stretches.threshold
		p := newPlant(seed, setting{30, threshold * (0.94 + 0.006*float64(seed)), 3.5}, true)
		w := thread.NewWatch(rate, thread.Still{Light: stillLight, Flicker: stillFlicker}, time.Minute)
		at := time.Duration(0)
		for range 5 * 63 {
			p.step(200 * time.Millisecond)
			at += 200 * time.Millisecond
			w.Add(at, math.Round(1000*p.dye.light)/1000)
		}
		seen, ok := w.Seen(at, time.Minute)
		s := p.truth()
		truth, known := s.Get(quantity.DisturbedFraction)
		v, _ := s.Get(quantity.Velocity)
		if !ok || !known {
			t.Fatalf("seed %d: not watched", seed)
		}
		share := seen.Share(thread.Passage(v, p.bore))
		n++
		bias += (share.Fraction - truth) / rigs
		worst = math.Max(worst, math.Abs(share.Fraction-truth))
		if truth >= share.Low-1e-9 && truth <= share.High+1e-9 {
			within++
		}
		t.Logf("seed %d: truth %.3f, light %.3f (%.3f to %.3f)", seed, truth, share.Fraction, share.Low, share.High)
	}
	t.Logf("within %d of %d, bias %.4f, worst %.3f", within, n, bias, worst)
	if within < n-1 || math.Abs(bias) > 0.03 || worst > 0.1 {
		t.Errorf("within the interval %d of %d, bias %.4f, worst %.3f", within, n, bias, worst)
	}
}
