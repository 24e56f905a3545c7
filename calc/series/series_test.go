package series

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func fill(w *Window, n int, every time.Duration, v func(i int) float64) {
	for i := range n {
		w.Add(time.Duration(i)*every, v(i))
	}
}

func TestSlope(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	rows := []struct {
		name      string
		n         int
		every     time.Duration
		value     func(i int) float64
		want, tol float64
		ok        bool
	}{
		{"exact line", 300, 200 * time.Millisecond, func(i int) float64 { return 20 + 0.05*0.2*float64(i) }, 0.05, 1e-9, true},
		{"falling, slow samples", 7, 10 * time.Second, func(i int) float64 { return 60 - float64(i) }, -0.1, 1e-9, true},
		{"constant", 300, 200 * time.Millisecond, func(int) float64 { return 20.1 }, 0, 0, true},
		{"noise of 0.1 K", 300, 200 * time.Millisecond, func(i int) float64 { return 0.01*float64(i) + 0.1*r.NormFloat64() }, 0.05, 0.002, true},
		// Sen 1968: the median of slopes stands up to 29 % of wild points.
		{"one sample in ten is wild", 100, 600 * time.Millisecond, func(i int) float64 {
			if i%10 == 7 {
				return 1e6
			}
			return 0.03 * float64(i)
		}, 0.05, 0.005, true},
		{"four points", 4, 10 * time.Second, func(i int) float64 { return float64(i) }, 0, 0, false},
		{"a tenth of the span", 30, 200 * time.Millisecond, func(i int) float64 { return float64(i) }, 0, 0, false},
		{"nothing", 0, time.Second, nil, 0, 0, false},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			w := NewWindow(time.Minute, 60)
			fill(w, row.n, row.every, row.value)
			got, _, ok := w.Slope()
			if ok != row.ok || math.Abs(got-row.want) > row.tol {
				t.Errorf("slope %g, %v; want %g ± %g, %v", got, ok, row.want, row.tol, row.ok)
			}
		})
	}
}

// TestSlopeStandardError compares the stated standard error with the scatter
// of slopes over many series: the series' truth is made here.
func TestSlopeStandardError(t *testing.T) {
	for _, row := range []struct {
		name     string
		source   source
		low, top float64 // allowed ratio of stated to real
	}{
		{"white", white, 0.9, 1.15},
		{"autocorrelated 0.5", correlated(0.5), 0.85, 1.2},
		{"autocorrelated 0.9", correlated(0.9), 0.75, 1.25},
	} {
		t.Run(row.name, func(t *testing.T) {
			var real2, stated2 float64
			for seed := range 600 {
				next := row.source(rand.New(rand.NewPCG(uint64(seed), 7)))
				w := NewWindow(time.Minute, 120)
				fill(w, 300, sampleEvery, func(int) float64 { return next(0) })
				slope, se, _ := w.Slope()
				real2 += slope * slope
				stated2 += se * se
			}
			ratio := math.Sqrt(stated2 / real2)
			t.Logf("stated/real %.3f", ratio)
			if ratio < row.low || ratio > row.top {
				t.Errorf("stated ÷ real standard error %.3f, want %.2f to %.2f", ratio, row.low, row.top)
			}
		})
	}
}

func TestWindowKeepsItsSpan(t *testing.T) {
	w := NewWindow(time.Minute, 30)
	fill(w, 5000, 50*time.Millisecond, func(i int) float64 { return float64(i) })
	if c := w.Covered(); c < 55*time.Second || c > time.Minute {
		t.Errorf("covered %v of a minute at 20 samples a second and 30 points", c)
	}
	if w.Len() > 30 {
		t.Errorf("%d points, capacity 30", w.Len())
	}
	// The last minute of 0, 1, 2 … 4999 at 20/s has the mean 4999 − 600.
	if mean, _, ok := w.Mean(); !ok || math.Abs(mean-4399) > 25 {
		t.Errorf("mean %g, want about 4399", mean)
	}
	w.Add(4*time.Minute+30*time.Second, 1)
	if w.Len() > 21 {
		t.Errorf("%d points after 20 s of silence: the old ones stayed", w.Len())
	}
	w.Reset()
	if w.Len() != 0 || w.Covered() != 0 {
		t.Error("something is left after Reset")
	}
}

func TestWindowIgnoresWhatSaysNothing(t *testing.T) {
	w := NewWindow(time.Minute, 30)
	w.Add(10*time.Second, 5)
	w.Add(20*time.Second, math.NaN())
	w.Add(20*time.Second, math.Inf(1))
	w.Add(5*time.Second, 7) // before the newest
	if w.Len() != 1 || w.at(0).value != 5 {
		t.Errorf("%d points, first %g; want the one good sample", w.Len(), w.at(0).value)
	}
	var zero Window
	zero.Add(time.Second, 1)
	if _, _, ok := zero.Slope(); ok || zero.Len() != 0 {
		t.Error("the zero window keeps something")
	}
}

// TestAverageCoverage: mean ± t·standard error must hold the true mean 95
// times in a hundred, autocorrelated or not. Student's t for 8 degrees of freedom at
// 95 % is 2.3060 (computed with scipy.stats.t).
func TestAverageCoverage(t *testing.T) {
	for _, row := range []struct {
		name   string
		source source
		least  float64
	}{
		{"white", white, 0.935},
		{"autocorrelated 0.5", correlated(0.5), 0.93},
		{"autocorrelated 0.8", correlated(0.8), 0.92},
		{"autocorrelated 0.9", correlated(0.9), 0.90},
	} {
		t.Run(row.name, func(t *testing.T) {
			const series = 2000
			held := 0
			for seed := range series {
				next := row.source(rand.New(rand.NewPCG(uint64(seed), 11)))
				samples := make([]float64, 300)
				for i := range samples {
					samples[i] = next(0)
				}
				a, ok := AverageOf(samples)
				if !ok || a.DegreesOfFreedom != 8 {
					t.Fatalf("%+v, %v; want 8 degrees of freedom", a, ok)
				}
				if math.Abs(a.Mean) <= 2.3060*a.StandardError {
					held++
				}
			}
			share := float64(held) / series
			t.Logf("coverage %.3f", share)
			if share < row.least || share > 0.97 {
				t.Errorf("coverage %.3f, want %.2f to 0.97", share, row.least)
			}
		})
	}
}

func TestAverage(t *testing.T) {
	if _, ok := AverageOf(make([]float64, 7)); ok {
		t.Error("seven samples were averaged")
	}
	if _, ok := AverageOf([]float64{1, 2, 3, 4, 5, 6, 7, math.NaN()}); ok {
		t.Error("NaN was averaged")
	}
	a, ok := AverageOf([]float64{3, 3, 3, 3, 3, 3, 3, 3})
	if !ok || a.Mean != 3 || a.StandardError > 1e-15 || a.Deviation != 0 {
		t.Errorf("constant: %+v, %v", a, ok)
	}
	// An AR(1) series of 0.9 has (1−0.9)/(1+0.9) of its samples to count.
	next := correlated(0.9)(rand.New(rand.NewPCG(3, 4)))
	samples := make([]float64, 100000)
	for i := range samples {
		samples[i] = next(0)
	}
	a, _ = AverageOf(samples)
	if want := 100000 * 0.1 / 1.9; math.Abs(a.EffectiveSamples()/want-1) > 0.15 {
		t.Errorf("effective samples %.0f, want about %.0f", a.EffectiveSamples(), want)
	}
}

func TestSteadyConditions(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	rows := []struct {
		name   string
		config SteadyConfig
		n      int
		every  time.Duration
		value  func(i int) float64
		want   Condition
	}{
		{"nothing", SteadyConfig{}, 0, time.Second, nil, Filling},
		{"half a window", SteadyConfig{}, 150, sampleEvery, func(int) float64 { return 1 }, Filling},
		{"constant", SteadyConfig{}, 301, sampleEvery, func(int) float64 { return 20.1 }, Still},
		{"one code more half way, codes of 0.1", SteadyConfig{Within: 0.1}, 300, sampleEvery, func(i int) float64 { return 20 + 0.1*float64(i/150) }, Still},
		{"the same, half a code allowed", SteadyConfig{Within: 0.05}, 300, sampleEvery, func(i int) float64 { return 20 + 0.1*float64(i/150) }, Moving},
		{"now and then a code, 0.1 allowed", SteadyConfig{Within: 0.1}, 301, sampleEvery, func(int) float64 { return 20 + 0.1*math.Round(0.25*r.NormFloat64()) }, Still},
		{"exact ramp", SteadyConfig{}, 301, sampleEvery, func(i int) float64 { return float64(i) }, Moving},
		{"the same, allowed", SteadyConfig{Within: 400}, 301, sampleEvery, func(i int) float64 { return float64(i) }, Still},
		{"drift of 0.48 % of 20, 0.5 % allowed", SteadyConfig{Relative: 0.005}, 301, sampleEvery, func(i int) float64 { return 20 + 0.096*float64(i)/300 }, Still},
		{"drift of 0.52 % of 20", SteadyConfig{Relative: 0.005}, 301, sampleEvery, func(i int) float64 { return 20 + 0.104*float64(i)/300 }, Moving},
		{"the same below zero", SteadyConfig{Relative: 0.005}, 301, sampleEvery, func(i int) float64 { return -20 - 0.096*float64(i)/300 }, Still},
		{"more allowed by the figure than by the part", SteadyConfig{Within: 0.2, Relative: 0.005}, 301, sampleEvery, func(i int) float64 { return 20 + 0.18*float64(i)/300 }, Still},
		{"13 samples in a minute", SteadyConfig{}, 13, 5 * time.Second, func(int) float64 { return 1 }, Filling},
		{"the same in two minutes", SteadyConfig{Span: 2 * time.Minute}, 25, 5 * time.Second, func(int) float64 { return 1 }, Still},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			s := NewSteady(row.config)
			var last bool
			for i := range row.n {
				last = s.Add(time.Duration(i)*row.every, row.value(i))
			}
			if s.Condition() != row.want || last != (row.want == Still) {
				t.Errorf("%v (%v), want %v", s.Condition(), last, row.want)
			}
			if s.Reset(); s.Condition() != Filling {
				t.Error("not filling after Reset")
			}
		})
	}
}

// The least time until a quantity can be steady, after 60 s of samples every 200 ms.
func TestRemaining(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	for _, row := range []struct {
		name      string
		n         int
		value     func(seconds float64) float64
		low, high float64 // s
	}{
		{"nothing yet", 0, nil, 60, 60},
		{"20 s of the window", 101, func(float64) float64 { return 1 }, 39, 41},
		{"at rest", 301, func(float64) float64 { return 1 }, 0, 0},
		{"a step 20 s ago", 301, func(s float64) float64 { return math.Floor(s / 40) }, 39, 41},
		{"a step 20 s ago, noise of a third of it", 301, func(s float64) float64 { return 3*math.Floor(s/40) + 0.1*r.NormFloat64() }, 38, 42},
		{"a step within what is allowed", 301, func(s float64) float64 { return 0.009 * math.Floor(s/40) }, 0, 0},
		{"a ramp: it moves still, and a step of it passes for noise", 301, func(s float64) float64 { return s }, 55, 60},
	} {
		s := NewSteady(SteadyConfig{Within: 0.01})
		for i := range row.n {
			s.Add(time.Duration(i)*sampleEvery, row.value(float64(i)*sampleEvery.Seconds()))
		}
		if got := s.Remaining().Seconds(); got < row.low || got > row.high {
			t.Errorf("%s: %.1f s, want %g to %g", row.name, got, row.low, row.high)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	s, w := NewSteady(SteadyConfig{}), NewWindow(time.Minute, 120)
	r := rand.New(rand.NewPCG(8, 9))
	at := time.Duration(0)
	step := func() {
		at += sampleEvery
		v := r.NormFloat64()
		s.Add(at, v)
		w.Add(at, v)
		w.Slope()
		w.Mean()
		s.Remaining()
	}
	for range 400 {
		step()
	}
	if n := testing.AllocsPerRun(50, step); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func BenchmarkSteadyAdd(b *testing.B) {
	s := NewSteady(SteadyConfig{})
	r := rand.New(rand.NewPCG(8, 9))
	for i := range 400 {
		s.Add(time.Duration(i)*sampleEvery, r.NormFloat64())
	}
	b.ReportAllocs()
	for i := 400; b.Loop(); i++ {
		s.Add(time.Duration(i)*sampleEvery, r.NormFloat64())
	}
}

func BenchmarkSlope(b *testing.B) {
	w := NewWindow(time.Minute, 120)
	r := rand.New(rand.NewPCG(8, 9))
	fill(w, 300, sampleEvery, func(int) float64 { return r.NormFloat64() })
	b.ReportAllocs()
	for b.Loop() {
		w.Slope()
	}
}

// By hand: the lowest of the oldest less the highest of the newest.
func TestDrop(t *testing.T) {
	for _, row := range []struct {
		name   string
		values []float64
		want   float64
		ok     bool
	}{
		{"a step", []float64{50, 51, 50, 20, 21, 20}, 29, true},
		{"a rise", []float64{20, 21, 20, 50, 51, 50}, -31, true},
		{"one wild point in the newest", []float64{50, 50, 50, 50, 20, 50}, 0, true},
		{"one wild point in the oldest", []float64{50, 20, 50, 20, 20, 20}, 0, true},
		{"too few", []float64{50, 50, 50, 20, 20}, 0, false},
	} {
		w := NewWindow(time.Minute, 60)
		for i, v := range row.values {
			w.Add(time.Duration(i)*2*time.Second, v)
		}
		if got, ok := w.Drop(3); got != row.want || ok != row.ok {
			t.Errorf("%s: %v, %v; want %v, %v", row.name, got, ok, row.want, row.ok)
		}
	}
}

// Against sorting.
func TestQuantile(t *testing.T) {
	r := rand.New(rand.NewPCG(1961, 321))
	for n := 1; n < 40; n++ {
		values := make([]float64, n)
		for i := range values {
			values[i] = float64(r.IntN(12))
		}
		sorted := slices.Sorted(slices.Values(values))
		for k := range n {
			if got := quantile(values, float64(k)/math.Max(1, float64(n-1))); math.Abs(got-sorted[k]) > 1e-9 {
				t.Errorf("rank %d of %v: %v", k, sorted, got)
			}
		}
		if n > 1 {
			if got, want := quantile(values, 0.5/float64(n-1)), (sorted[0]+sorted[1])/2; math.Abs(got-want) > 1e-9 {
				t.Errorf("half-way between ranks 0 and 1 of %v: %v", sorted, got)
			}
		}
	}
}
