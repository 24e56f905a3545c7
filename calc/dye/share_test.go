package dye

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, within)
	}
}

// Wilson's interval against printed values: 7 of 50 (Brown, Cai, DasGupta, Stat. Sci. 16
// (2001) 101 and any table); 0 of 20 and 9 of 10 were computed with scipy.stats
// (proportion_confint's formula).
func TestWilson(t *testing.T) {
	for _, c := range []struct{ g, n, low, high float64 }{
		{0.14, 50, 0.0695, 0.2619},
		{0, 20, 0, 0.1611},
		{1, 20, 0.8389, 1},
		{0.9, 10, 0.5958, 0.9821},
	} {
		low, high := wilson(c.g, c.n)
		near(t, "low", low, c.low, 5e-5)
		near(t, "high", high, c.high, 5e-5)
	}
}

// cycles is n stretches of torn thread and n pauses with the lengths' standard
// deviations (n − 1).
func cycles(n int, torn, sTorn, still, sStill float64) *Seen {
	spells := func(mean, s float64) Spells {
		k := float64(n)
		return Spells{Seconds: k * mean, Ended: n, Whole: n, Sum: k * mean, Squares: k*mean*mean + (k-1)*s*s}
	}
	return &Seen{Torn: spells(torn, sTorn), Still: spells(still, sStill)}
}

// Twelve stretches, 90 s of 300 s torn. By hand, with exponential lengths: looks =
// 12/(2·0.3·0.7) = 28.57; with lengths that scatter by 2 s and 14 s: var = (17.5²·2² +
// 7.5²·14²)/(25³·300) = 0.0026136, looks = 0.21/0.0026136 = 80.35.
func TestShareOfTwelveStretches(t *testing.T) {
	few := cycles(12, 7.5, 2, 17.5, 14)
	few.Torn.Whole = enoughCycles - 1 // nine whole ones tell no scatter
	share := few.Share(2)
	near(t, "fraction", share.Fraction, 0.3, 1e-12)
	near(t, "looks", share.Looks, 28.571, 1e-3)
	near(t, "low", share.Low, 0.164, 5e-4)
	near(t, "high", share.High, 0.483, 5e-4)
	near(t, "U", share.U, (share.High-share.Low)/3.92, 1e-4)

	few.Torn.Whole, few.Still.Whole = 12, enoughCycles-1
	near(t, "looks with nine whole pauses", few.Share(2).Looks, 28.571, 1e-3)

	ten := cycles(enoughCycles, 7.5, 2, 17.5, 14)
	near(t, "looks of ten whole ones", ten.Share(2).Looks, 0.21/(0.0026136*1.2), 0.02)
	many := cycles(12, 7.5, 2, 17.5, 14).Share(2)
	near(t, "looks by the lengths' scatter", many.Looks, 80.35, 0.05)
	near(t, "its low", many.Low, 0.2107, 2e-3)
	near(t, "looks of lengths that are all the same", cycles(12, 7.5, 0, 17.5, 0).Share(2).Looks, 28.571, 1e-3)
	near(t, "its high", many.High, 0.4074, 2e-3)
}

// A thread that was never torn, or always, is known as well as a minute of passages
// tells, and not exactly: 60 s of passages of 2 s are 15 looks for the torn side, and a
// quarter of one for the still side (half an end in 60 s).
func TestShareOfOneKind(t *testing.T) {
	never := Seen{Still: Spells{Seconds: 60}}
	s := never.Share(2)
	near(t, "fraction", s.Fraction, 0, 0)
	near(t, "looks", s.Looks, 15.25, 1e-9)
	near(t, "low", s.Low, 0, 1e-12)
	near(t, "high", s.High, 3.8415/(15.25+3.8415), 1e-4) // z²/(n + z²)
	if s.U <= 0 {
		t.Errorf("u = %v", s.U)
	}
	always := Seen{Torn: Spells{Seconds: 60}}
	s = always.Share(2)
	near(t, "fraction", s.Fraction, 1, 0)
	near(t, "low", s.Low, 1-3.8415/(15.25+3.8415), 1e-4)
	near(t, "high", s.High, 1, 1e-12)
}

// At 0.15 m/s in a bore of 13 mm a puff of 25 bores goes by in 2.17 s.
func TestPassage(t *testing.T) { near(t, "passage", Passage(0.15, 0.013), 2.1667, 1e-4) }
