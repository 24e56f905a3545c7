package rigsim

import (
	"fmt"
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq/daqtest"
)

// The fit as transition_statistics tabulates it, section 4, to its two digits; puffs
// go as one below 2250.
func TestFrontsByTheTable(t *testing.T) {
	for _, c := range []struct{ re, up, down float64 }{
		{2250, 0.95, 1.09}, {2300, 0.94, 1.11}, {2600, 0.88, 1.19}, {3000, 0.82, 1.28}, {4000, 0.71, 1.42},
		{5000, 0.63, 1.52}, {1e4, 0.44, 1.71}, {2e4, 0.32, 1.83}, {1e5, 0.15, 1.93},
	} {
		up, down := fronts(c.re)
		if math.Abs(up-c.up) > 0.0051 || math.Abs(down-c.down) > 0.0051 {
			t.Errorf("Re %g: %.4f and %.4f, want %g and %g", c.re, up, down, c.up, c.down)
		}
	}
	for _, re := range []float64{1700, 2000, 2249} {
		if up, down := fronts(re); up != down {
			t.Errorf("Re %g: a puff's fronts go %.3f and %.3f", re, up, down)
		}
	}
}

// The share of the model as transition_statistics tabulates it, section 3: slugs of
// 15 D, 0.01 a D/U, at 35 and 70 D. The law is asked the other way round: how many
// births give that share.
func TestBirthsByTheTable(t *testing.T) {
	for _, c := range []struct{ re, x, share float64 }{
		{2300, 35, 0.20}, {2300, 70, 0.24}, {2600, 35, 0.24}, {2600, 70, 0.31}, {3000, 35, 0.29}, {3000, 140, 0.55}, {4000, 70, 0.51},
	} {
		// The threshold at which the wanted share is that of the table.
		critical := c.re / (1 + shareScale*math.Log(c.share/(1-c.share)))
		near(t, fmt.Sprintf("births a D/U at Re %g, %g D", c.re, c.x), lawAt(c.re, critical, c.x).births, 0.01, 0.035)
	}
}

// One slug of 15 D through the tube, by hand from the front speeds of section 4 at
// Re 3000 (0.82 and 1.28): its head is at 0.45 m after 0.45/(1.28·v), its tail has
// passed (0.45 + 15·0.013)/(0.82·v) after it was born; a puff at Re 2000 takes
// 0.195/(1.007·v), however far it has come.
func TestAStretchPasses(t *testing.T) {
	g := geometry{bore: 0.013, length: 0.9, watchedAt: 0.45}
	const v, dt = 0.2, 0.001
	for _, c := range []struct{ re, x, arrives, lasts float64 }{
		{3000, 0.45, 0.45 / (1.28 * v), 0.645/(0.82*v) - 0.45/(1.28*v)},
		{3000, 0.9, 0.9 / (1.28 * v), 1.095/(0.82*v) - 0.9/(1.28*v)},
		{2000, 0.45, 0.45 / (1.007 * v), 0.195 / (1.007 * v)},
		{2000, 0.9, 0.9 / (1.007 * v), 0.195 / (1.007 * v)},
	} {
		s := stretches{threshold: 1e6, floor: 1e6} // nothing is born by itself
		s.due = math.Inf(1)
		s.born(g.bore)
		var arrived, left float64
		for i := 1; i < 20000; i++ {
			s.step(dt, v, c.re, g, nil)
			switch at := float64(i) * dt; {
			case arrived == 0 && s.covers(c.x):
				arrived = at
			case arrived > 0 && left == 0 && !s.covers(c.x):
				left = at
			}
		}
		near(t, fmt.Sprintf("Re %g: arrival at %g m", c.re, c.x), arrived, c.arrives, 0.01)
		near(t, fmt.Sprintf("Re %g: passage at %g m", c.re, c.x), left-arrived, c.lasts, 0.01)
		if s.n != 0 {
			t.Errorf("Re %g: %d stretches left in the tube", c.re, s.n)
		}
	}
}

// Stretches that meet are one, and the content counts what lies in the tube.
func TestStretchesMeet(t *testing.T) {
	s := stretches{n: 2, list: [16]stretch{{0.30, 0.50}, {0.10, 0.2999}}}
	s.law.up, s.law.down = 0.8, 1.3
	s.move(0.001, 0.9)
	if s.n != 1 || math.Abs(s.list[0].tail-0.1008) > 1e-12 || math.Abs(s.list[0].head-0.5013) > 1e-12 {
		t.Errorf("after they met: %v", s.list[:s.n])
	}
	near(t, "content", s.content(0.9), (0.5013-0.1008)/0.9, 1e-9)
	s.list[0] = stretch{-0.1, 0.45}
	near(t, "content of one that is half in", s.content(0.9), 0.5, 1e-9)
	s.born(0.013) // the inlet is still full: it grows
	if s.n != 1 || math.Abs(s.list[0].tail+0.195) > 1e-12 {
		t.Errorf("a birth in a full inlet: %v", s.list[:s.n])
	}
	s.list[0].tail = 0.01
	s.born(0.013)
	if s.n != 2 || s.list[1].head != 0 {
		t.Errorf("a birth in a free inlet: %v", s.list[:s.n])
	}
}

// measured is the share of time with a torn thread at the dye over many passages,
// with Re held and the memory of so many passages switched off.
func (s *stretches) measured(re float64, g geometry, seed uint64, passages int) float64 {
	const v, dt = 0.1, 0.02
	r := randomStream(seed, streamSlugs)
	torn, n := 0, int(float64(passages)*g.length/v/dt)
	for range n {
		s.step(dt, v, re, g, r)
		if s.covers(g.watchedAt) {
			torn++
		}
	}
	return float64(torn) / float64(n)
}

// Near the threshold the dye is torn for the share of time that the logistic asks
// for, a half at the threshold itself; both going up, from laminar, and coming
// down, at the floor. The share of 600 passages, each some three slugs long,
// scatters by 0.015.
func TestShareNearTheThreshold(t *testing.T) {
	g := geometry{bore: 0.013, length: 0.9, watchedAt: 0.45}
	for _, critical := range []float64{1800, 2200, 2600, 3000} {
		for _, c := range []struct{ scales, share float64 }{{-2, 0.119}, {-1, 0.269}, {0, 0.5}, {0.7, 0.668}} {
			s := stretches{threshold: critical, floor: critical}
			re := critical * (1 + shareScale*c.scales)
			if got := s.measured(re, g, 7, 600); math.Abs(got-c.share) > 0.05 {
				t.Errorf("threshold %g, Re %.0f: torn for %.3f of the time, want %.3f", critical, re, got, c.share)
			}
		}
	}
}

// Going up a rig becomes turbulent at its inlet's threshold, coming down it stays
// so to the floor, and forgets once it has been laminar for twelve passages.
func TestComingDownItStaysTurbulent(t *testing.T) {
	g := geometry{bore: 0.013, length: 0.7, watchedAt: 0.35}
	s := stretches{threshold: 2600, floor: 1800}
	step := func(name string, re float64, passages int, low, high float64, kept bool) {
		t.Helper()
		got := s.measured(re, g, 3, passages)
		if got < low || got > high || s.kept != kept {
			t.Errorf("%s, Re %g: torn for %.2f of the time, want %g to %g; the floor counts: %v", name, re, got, low, high, s.kept)
		}
	}
	step("up, between floor and threshold", 2200, 40, 0, 0.05, false)
	step("up, at the threshold", 2600, 60, 0.35, 0.65, false)
	step("laminar", 1500, 14, 0, 0.1, false)
	step("turbulent for eight passages", 4000, 8, 0.8, 1, false)
	step("turbulent for eleven", 4000, 3, 0.99, 1, true)
	step("turbulent", 4000, 30, 0.99, 1, true)
	step("down, between floor and threshold", 2200, 100, 0.99, 1, true)
	step("down, at the floor", 1800, 60, 0.35, 0.65, true)
	step("laminar for ten passages", 1500, 10, 0, 0.15, true)
	step("laminar", 1500, 10, 0, 0.01, false)
	step("up again", 2200, 40, 0, 0.05, false)
}

// The rig itself: the Reynolds numbers at which the dye is torn half of the time
// are the drawn ones, in either direction, within what half an hour of slugs
// scatters; and many rigs fill the stated ranges.
func TestCriticalReynolds(t *testing.T) {
	daqtest.Counts(t)
	s := newSim(t, Options{Seed: 5, Calm: true})
	rising, falling := s.CriticalReynolds()
	share := func(re float64) float64 {
		s.turn(re)
		s.Advance(3 * time.Minute)
		torn := 0
		const n = 20 * 60 * 50
		for range n {
			s.Advance(maxStep)
			if s.Truth().Torn {
				torn++
			}
		}
		return float64(torn) / n
	}
	s.turn(1500)
	s.Advance(4 * time.Minute)
	if got := share(rising); math.Abs(got-0.5) > 0.12 {
		t.Errorf("going up, at Re %.0f: torn for %.2f of the time", rising, got)
	}
	s.turn(6000)
	s.Advance(3 * time.Minute)
	if got := share((rising + falling) / 2); got < 0.95 {
		t.Errorf("coming down, half-way: torn for %.2f of the time", got)
	}
	if got := share(falling); math.Abs(got-0.5) > 0.12 {
		t.Errorf("coming down, at Re %.0f: torn for %.2f of the time", falling, got)
	}
	var least, most = math.Inf(1), 0.0
	for seed := range uint64(200) {
		up, down := newSim(t, Options{Seed: seed}).CriticalReynolds()
		least, most = math.Min(least, up), math.Max(most, up)
		if down < floorLow || down > floorHigh {
			t.Errorf("seed %d: a floor of %.0f", seed, down)
		}
	}
	if least < thresholdLow || least > thresholdLow+30 || most > thresholdHigh || most < thresholdHigh-30 {
		t.Errorf("thresholds from %.0f to %.0f", least, most)
	}
}

// What fills the tube has both laws by its share (transition_statistics, section 7:
// f = (1 − g)·64/Re + g·turbulent at the same Re), and α too.
func TestFrictionOfAMixture(t *testing.T) {
	tube := tube{torn: 0.3}
	f, alpha := tube.resistance(2300, 0)
	turbulent := friction(2300, 0, true)
	near(t, "f", f, 0.7*64/2300+0.3*turbulent, 1e-12)
	near(t, "turbulent over laminar at 2300, about Blasius' 1.64", turbulent/(64.0/2300), 1.64, 0.05)
	near(t, "α", alpha, 0.7*2+0.3*1.06, 1e-12)
}

// The thread as the demonstrator and the photodiode see it.
func TestTheThread(t *testing.T) {
	d := dye{draws: randomStream(1, streamLight)}
	d.fill(0)
	spread := func(torn bool, seconds int) (mean, deviation float64) {
		var sum, square float64
		n := seconds * 50
		for range n {
			d.step(0.02, torn)
			sum += d.light
			square += d.light * d.light
		}
		mean = sum / float64(n)
		return mean, math.Sqrt(square/float64(n) - mean*mean)
	}
	mean, still := spread(false, 200)
	near(t, "light past a still thread", mean, 0.62, 0.005)
	near(t, "its flicker", still/mean, 0.005, 0.1)
	if d.seen() != quantity.Laminar || d.share(60) != 0 {
		t.Errorf("a still thread is seen %v, torn for %.2f", d.seen(), d.share(60))
	}
	spread(true, 5)
	if d.seen() != quantity.Transitional {
		t.Errorf("after 5 s torn it is seen %v", d.seen())
	}
	near(t, "share of the minute", d.share(60), 4.5/60, 0.12) // the second under way does not count
	spread(false, 20)
	for _, c := range []struct {
		torn    bool
		seconds int
		want    quantity.Band
	}{{true, 6, quantity.Transitional}, {true, 5, quantity.Turbulent}, {false, 5, quantity.Transitional}, {false, 6, quantity.Laminar}} {
		spread(c.torn, c.seconds)
		if d.seen() != c.want {
			t.Errorf("after %d s more, torn: %v, the thread is seen %v, want %v", c.seconds, c.torn, d.seen(), c.want)
		}
	}
	mean, torn := spread(true, 200)
	if torn < 5*still || torn/mean > 0.2 || torn/mean < 0.1 {
		t.Errorf("a torn thread flickers by %.3f of its light, a still one by %.4f", torn/mean, still/mean)
	}
	if d.seen() != quantity.Turbulent {
		t.Errorf("a torn thread is seen %v", d.seen())
	}
	near(t, "share of the minute", d.share(60), 1, 1e-9)
	spread(false, 70)
	if d.share(60) != 0 {
		t.Errorf("70 s later the minute's share is still %.2f", d.share(60))
	}
}

// In the rig the truth's share, the light and the observation follow the dye while
// Re says transitional: far below a high threshold the thread is whole.
func TestTheDyeNotReTells(t *testing.T) {
	for seed := range uint64(40) {
		p := newPlant(seed, setting{42, 2050, 3.5}, true)
		if p.stretches.threshold < 2500 {
			continue
		}
		p.step(2 * time.Minute)
		s := p.truth()
		share, _ := s.Get(quantity.DisturbedFraction)
		if s.Band() != quantity.Transitional || share > 0.02 || p.dye.seen() != quantity.Laminar {
			t.Errorf("seed %d: Re is %v, torn for %.2f, seen %v", seed, s.Band(), share, p.dye.seen())
		}
		return
	}
	t.Error("no rig with a high threshold")
}
