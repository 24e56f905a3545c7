package engine

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// A flow at the laminar limit whose meter states no accuracy, with 0.3 % of
// noise: U is unknown, and the word follows the hold alone, one change a second
// at most and far fewer in fact.
func TestTheRegimeHoldsWithoutAnUncertainty(t *testing.T) {
	text := strings.Replace(benchText, "accuracy = {of_reading = \"0.5 %\", fixed = \"0.005 L/min\"}\n", "", 1)
	b := benchWith(t, text)
	b.run(time.Second, 1.2, 42, 255)
	atLimit := 1.2 * 2000 / b.value(quantity.Reynolds)
	if _, known := b.state.Values.Get(quantity.ReynoldsUncertainty); known {
		t.Fatal("the uncertainty is known: the test shows nothing")
	}
	noise := rand.New(rand.NewPCG(1, 2))
	changes, raw := 0, 0
	word, side := b.state.Values.Band(), false
	for range 600 {
		b.run(200*time.Millisecond, atLimit*(1+0.003*noise.NormFloat64()), 42, 255)
		if now := b.state.Values.Band(); now != word {
			changes, word = changes+1, now
		}
		if now := b.value(quantity.Reynolds) > 2000; now != side {
			raw, side = raw+1, now
		}
	}
	t.Logf("%d changes of the word, %d of the comparison", changes, raw)
	if changes > 30 || raw < 100 {
		t.Errorf("%d changes of the word in 2 min, %d of the comparison", changes, raw)
	}
}

// Instruments that are read rarely have slopes and become steady too: the slope is
// that of the last minute, or of the last eight readings where they take longer.
func TestRareReadings(t *testing.T) {
	for every, c := range map[string]struct{ rest, rise time.Duration }{
		"500 ms": {90 * time.Second, 65 * time.Second}, "3 s": {3 * time.Minute, 65 * time.Second}, "20 s": {15 * time.Minute, 3 * time.Minute},
	} {
		text := strings.Replace(benchText, "[instruments.temperature]\n", "[instruments.temperature]\nevery = \""+every+"\"\n", 1)
		b := benchWith(t, text)
		h := &heated{bench: b, every: b.e.cfg.Instrument(quantity.Temperature).Every}
		h.run(c.rest, 1.2, 42, 255)
		if h.value(quantity.Steady) == 0 {
			t.Errorf("every %s: not steady after %v at rest", every, c.rest)
		}
		began := h.at
		for h.at < began+c.rise {
			h.run(200*time.Millisecond, 1.2, 42+0.01*(h.at-began).Seconds(), 255)
		}
		if got := h.value(quantity.TemperatureRate); math.Abs(got-0.01) > 1e-3 {
			t.Errorf("every %s: rate %v K/s, want 0.01", every, got)
		}
		if h.value(quantity.Steady) != 0 {
			t.Errorf("every %s: steady while the temperature rises by 0.6 K/min", every)
		}
	}
}

// The time to the limit is (75 − T)/slope by hand, whatever the pace of the
// readings; there is none at rest, and none once the newest readings fall though
// the last minute has risen.
func TestTheTimeToOverheatFollowsTheNewestReadings(t *testing.T) {
	for every, c := range map[string]struct {
		rise, turn time.Duration // of rising; until the fall is seen: the window of the newest readings
	}{
		"200 ms": {2 * time.Minute, 8 * time.Second}, "3 s": {2 * time.Minute, 15 * time.Second}, "10 s": {5 * time.Minute, 50 * time.Second},
	} {
		t.Run(every, func(t *testing.T) {
			text := strings.Replace(benchText, "[instruments.temperature]\n", "[instruments.temperature]\nevery = \""+every+"\"\n", 1)
			b := benchWith(t, text)
			h := &heated{bench: b, every: b.e.cfg.Instrument(quantity.Temperature).Every}
			celsius := 40.0
			run := func(length time.Duration, slope float64) {
				for end := h.at + length; h.at < end; {
					celsius += slope * 0.2
					h.run(200*time.Millisecond, 1.2, celsius, 255)
				}
			}
			left := func() (float64, bool) { return h.state.Values.Get(quantity.SecondsToOverheat) }
			run(90*time.Second, 0)
			if s, known := left(); known {
				t.Fatalf("at rest: %v s", s)
			}
			const slope = 0.05
			run(c.rise, slope)
			if s, known := left(); !known || math.Abs(s/((75-celsius)/slope)-1) > 0.05 {
				t.Errorf("rising: %v s (%v), by hand %v s", s, known, (75-celsius)/slope)
			}
			run(c.turn, -slope)
			for range 100 {
				if s, known := left(); known {
					t.Fatalf("cooling, and %v s to the limit", s)
				}
				run(200*time.Millisecond, -slope)
			}
			if every == "200 ms" && h.value(quantity.TemperatureRate) <= 0 {
				t.Error("the last minute has fallen: the test shows nothing")
			}
		})
	}
}
