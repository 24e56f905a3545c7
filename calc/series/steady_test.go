package series

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"
)

const sampleEvery = 200 * time.Millisecond

// A source makes one sample of a synthetic series; u runs 0…1 over the window.
type source func(r *rand.Rand) func(u float64) float64

func white(r *rand.Rand) func(float64) float64 {
	return func(float64) float64 { return r.NormFloat64() }
}

// correlated is an autoregression of first order with unit variance.
func correlated(phi float64) source {
	return func(r *rand.Rand) func(float64) float64 {
		x := r.NormFloat64()
		return func(float64) float64 {
			x = phi*x + math.Sqrt(1-phi*phi)*r.NormFloat64()
			return x
		}
	}
}

// intermittent switches between 0 (laminar stretch) and −3 (slug: more
// friction, less flow) with a mean dwell in seconds, on white noise of 0.3.
func intermittent(dwell float64, share func(u float64) float64) source {
	return func(r *rand.Rand) func(float64) float64 {
		slug := r.Float64() < share(0)
		return func(u float64) float64 {
			leave := 2 * share(u)
			if slug {
				leave = 2 * (1 - share(u))
			}
			if r.Float64() < leave*sampleEvery.Seconds()/dwell {
				slug = !slug
			}
			v := 0.3 * r.NormFloat64()
			if slug {
				v -= 3
			}
			return v
		}
	}
}

func half(float64) float64 { return 0.5 }

// plus adds a movement to a noise.
func plus(noise source, movement func(u float64) float64) source {
	return func(r *rand.Rand) func(float64) float64 {
		n := noise(r)
		return func(u float64) float64 { return movement(u) + n(u) }
	}
}

func ramp(size float64) func(float64) float64 {
	return func(u float64) float64 { return size * u }
}

var steadyRows = []struct {
	name   string
	source source
	steady bool
	limit  float64 // most wrong judgements allowed, percent
}{
	{"white noise", white, true, 10},
	{"autocorrelated, 0.5 from sample to sample", correlated(0.5), true, 10},
	{"autocorrelated, 0.8", correlated(0.8), true, 10},
	{"autocorrelated, 0.9", correlated(0.9), true, 10},
	{"intermittent, some 60 slugs in the window", intermittent(0.5, half), true, 10},
	{"intermittent, some 30 slugs", intermittent(1, half), true, 10},
	{"drift of 1.5 σ over the window, white", plus(white, ramp(1.5)), false, 5},
	{"drift of 2 σ, white", plus(white, ramp(2)), false, 5},
	{"drift of 5 σ, white", plus(white, ramp(5)), false, 5},
	{"drift of 5 σ, autocorrelated 0.5", plus(correlated(0.5), ramp(5)), false, 5},
	{"drift of 5 σ, autocorrelated 0.8", plus(correlated(0.8), ramp(5)), false, 5},
	{"drift of 5 σ, autocorrelated 0.9", plus(correlated(0.9), ramp(5)), false, 5},
	{"settling by 5 σ with a third of the window", plus(white, func(u float64) float64 { return 5 * math.Exp(-3*u) }), false, 5},
	{"step of 3 σ in the middle", plus(white, func(u float64) float64 { return 3 * math.Round(u) }), false, 5},
	{"swing of ± 2 σ, one period in the window", plus(white, func(u float64) float64 { return 2 * math.Cos(2*math.Pi*u) }), false, 5},
	{"intermittent, share of slugs 10 to 90 %", intermittent(0.5, func(u float64) float64 { return 0.1 + 0.8*u }), false, 5},
	{"intermittent, share of slugs 20 to 80 %", intermittent(0.5, func(u float64) float64 { return 0.2 + 0.6*u }), false, 25},
	{"intermittent, some 3 slugs", intermittent(10, half), false, 20},
}

// wrongRate is the share of windows judged wrongly, in percent.
func wrongRate(src source, steady bool, windows int) float64 {
	wrong := 0
	for seed := range windows {
		r := rand.New(rand.NewPCG(uint64(seed), 1883))
		s := NewSteady(SteadyConfig{})
		next := src(r)
		for i := range 300 { // judged at the end alone
			s.window.Add(time.Duration(i)*sampleEvery, next(float64(i)/299))
		}
		if (s.judge() == Still) != steady {
			wrong++
		}
	}
	return 100 * float64(wrong) / float64(windows)
}

// TestSteadyRates holds the table of the doc comment of Steady: each row's
// rate keeps its limit, and the printed figure is the measured one. The truth
// is known because the series are made here.
func TestSteadyRates(t *testing.T) {
	text, err := os.ReadFile("steady.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range steadyRows {
		t.Run(row.name, func(t *testing.T) {
			rate := wrongRate(row.source, row.steady, 1000)
			word := "missed"
			if !row.steady {
				word = "false"
			}
			t.Logf("//\t%-45s %-6s %5.1f %%", row.name, word, rate)
			if rate > row.limit {
				t.Errorf("%s %.1f %%, allowed %g %%", word, rate, row.limit)
			}
			checkPrinted(t, string(text), row.name, word, rate)
		})
	}
}

// checkPrinted allows 0.3 points: machines with fused multiply-add round
// otherwise and may tip a window or two.
func checkPrinted(t *testing.T, text, name, word string, rate float64) {
	t.Helper()
	_, rest, found := strings.Cut(text, "//\t"+name+" ")
	var gotWord string
	var got float64
	if found {
		if _, err := fmt.Sscan(rest, &gotWord, &got); err != nil {
			found = false
		}
	}
	if !found || gotWord != word || math.Abs(got-rate) > 0.3 {
		t.Errorf("doc comment of Steady: want row %q %s %.1f %%", name, word, rate)
	}
}
