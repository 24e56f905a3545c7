package regime_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/regime"
)

func compare(re float64) quantity.Band {
	switch {
	case re < 2000:
		return quantity.Laminar
	case re > 4000:
		return quantity.Turbulent
	}
	return quantity.Transitional
}

type step struct {
	at   time.Duration
	raw  quantity.Band
	re   float64
	want quantity.Band
}

const (
	u, no, la, tr, tu = quantity.Unknown, quantity.NoFlow, quantity.Laminar, quantity.Transitional, quantity.Turbulent
	ms                = time.Millisecond
)

// The rules are those of Step's comment; U is 80 throughout, hold 1 s.
func TestSteps(t *testing.T) {
	for name, steps := range map[string][]step{
		"first word at once":              {{0, la, 1990, la}},
		"held beside the limit":           {{0, la, 1990, la}, {200 * ms, tr, 2010, la}, {1199 * ms, tr, 2010, la}, {1200 * ms, tr, 2010, tr}},
		"a return starts the wait anew":   {{0, la, 1990, la}, {500 * ms, tr, 2010, la}, {1000 * ms, la, 1999, la}, {1600 * ms, tr, 2010, la}, {2600 * ms, tr, 2010, tr}},
		"clearly past at once, up":        {{0, la, 1990, la}, {200 * ms, tr, 2081, tr}},
		"clearly past at once, down":      {{0, tr, 2010, tr}, {200 * ms, la, 1919, la}},
		"clearly past at once, upper":     {{0, tr, 3990, tr}, {200 * ms, tu, 4081, tu}},
		"clearly past at once, from top":  {{0, tu, 4010, tu}, {200 * ms, tr, 3919, tr}},
		"across both limits at once":      {{0, la, 1000, la}, {200 * ms, tu, 9000, tu}, {400 * ms, la, 900, la}},
		"unknown at once, and after it":   {{0, la, 1990, la}, {200 * ms, u, math.NaN(), u}, {400 * ms, tr, 2010, tr}},
		"no-flow at once, and after it":   {{0, tu, 9000, tu}, {200 * ms, no, math.NaN(), no}, {400 * ms, la, 1990, la}},
		"waiting is dropped by a dropout": {{0, la, 1990, la}, {200 * ms, tr, 2010, la}, {400 * ms, u, math.NaN(), u}, {600 * ms, la, 1990, la}, {1300 * ms, tr, 2010, la}},
		"a late step counts the silence":  {{0, la, 1990, la}, {200 * ms, tr, 2010, la}, {60000 * ms, tr, 2010, tr}},
	} {
		t.Run(name, func(t *testing.T) {
			tracker := regime.New(2000, 4000, time.Second)
			for i, s := range steps {
				if got := tracker.Step(s.raw, s.re, 80, s.at); got != s.want {
					t.Fatalf("step %d at %v, Re %v: %v, want %v", i, s.at, s.re, got, s.want)
				}
			}
		})
	}
}

func TestNoHoldFollows(t *testing.T) {
	tracker := regime.New(2000, 4000, 0)
	for i, re := range []float64{1999, 2001, 1999, 4001, 3999} {
		if got := tracker.Step(compare(re), re, 80, time.Duration(i)); got != compare(re) {
			t.Errorf("Re %v: %v", re, got)
		}
	}
}

// Scatter of 1 % about a mean on a limit changes the plain word in about half of
// all steps; the word shown may change less than once in five seconds, and a
// settled flow of any size must have the plain word.
func TestDoesNotFlicker(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	tracker := regime.New(2000, 4000, time.Second)
	plain, shown, steps := 0, 0, 5000
	var lastPlain, lastShown quantity.Band
	for i := range steps {
		re := 2000 + 20*random.NormFloat64()
		got := tracker.Step(compare(re), re, 80, time.Duration(i)*200*ms)
		plain += changed(&lastPlain, compare(re))
		shown += changed(&lastShown, got)
	}
	if plain < steps/3 || shown > steps/25 {
		t.Errorf("in %d steps the plain word changed %d times, the one shown %d times", steps, plain, shown)
	}
}

func changed(last *quantity.Band, now quantity.Band) int {
	if *last == now {
		return 0
	}
	*last = now
	return 1
}

func TestSettledEqualsComparison(t *testing.T) {
	tracker := regime.New(2000, 4000, time.Second)
	now := time.Duration(0)
	for _, re := range []float64{500, 1999.99, 2000.01, 1999.99, 2500, 3999.99, 4000.01, 3999.99, 9000, 4000, 2000} {
		var got quantity.Band
		for range 7 {
			now += 200 * ms
			got = tracker.Step(compare(re), re, 1e6, now)
		}
		if got != compare(re) {
			t.Errorf("settled at Re %v: %v", re, got)
		}
	}
}
