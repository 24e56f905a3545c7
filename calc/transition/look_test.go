package transition

import (
	"math"
	"slices"
	"strings"
	"testing"

	"flowrigd/calc/uncertainty"
)

// looks are those of a way from one Re to another, with the logistic share of a critical
// Re: of so many independent looks each, at temperatures along a ramp.
func looks(from, to, critical float64, celsius ...float64) (list []Look) {
	const n, scale = 24, 0.025
	for i := range n {
		along := float64(i) / (n - 1)
		re := from * math.Pow(to/from, along)
		at := celsius[0]
		if len(celsius) > 1 {
			at += along * (celsius[1] - at)
		}
		list = append(list, Look{Reynolds: uncertainty.Value{X: re, U: 0.01 * re}, Celsius: at, Torn: 1 / (1 + math.Exp(-math.Log(re/critical)/scale)), Looks: 20})
	}
	return list
}

// TestHalfTorn: up through 2400 and down through 1800 at 20 °C, and the same again while
// the water is heated through 40 °C: two temperatures in each direction, each with an
// interval about the Re at which the share is one half.
func TestHalfTorn(t *testing.T) {
	all := slices.Concat(looks(1600, 3200, 2400, 20), looks(3150, 1400, 1800, 20), looks(1500, 3400, 2400, 20, 60), looks(3300, 1400, 1800, 60, 20))
	estimates, unused, err := HalfTorn(all, 0)
	if err != nil || unused != 0 || len(estimates) != 4 {
		t.Fatalf("%d estimates, %d looks of no way, %v; want 4 and none", len(estimates), unused, err)
	}
	for i, want := range []struct {
		approach    Approach
		re, celsius float64
	}{{Rising, 2400, 20}, {Rising, 2400, 43}, {Falling, 1800, 20}, {Falling, 1800, 31}} {
		e := estimates[i]
		if e.Approach != want.approach || e.Limit != Half || math.Abs(e.LowCelsius-want.celsius) > 3 || e.HighCelsius-e.LowCelsius > 1e-9 {
			t.Errorf("%d: %v, %v at %.1f to %.1f °C; want %v at %.0f", i, e.Approach, e.Limit, e.LowCelsius, e.HighCelsius, want.approach, want.celsius)
		}
		if e.Fit == nil || !e.Fit.Bounded || math.Abs(e.Fit.Critical.X/want.re-1) > 2e-3 || e.Fit.Low > 0.985*want.re || e.Fit.High < 1.015*want.re || e.Fit.High > 1.05*want.re {
			t.Errorf("%d: %+v, want about %.0f", i, e.Fit, want.re)
		}
		if e.HighestBelow.X >= want.re*1.001 || e.LowestAbove.X <= want.re*0.999 || !e.Known {
			t.Errorf("%d: the bracket is %.0f to %.0f", i, e.HighestBelow.X, e.LowestAbove.X)
		}
	}
}

// TestWaysOfUnknownBeginning tell of neither direction: what begins half torn, and what
// comes after a time of which nothing is known.
func TestWaysOfUnknownBeginning(t *testing.T) {
	up, down := looks(1600, 3200, 2400, 20), looks(3200, 1400, 1800, 20)
	back := []Look{up[7]}
	back[0].Reynolds.X *= 0.98
	begins := func(list []Look) []Look {
		list = slices.Clone(list)
		list[0].Begins = true
		return list
	}
	for name, c := range map[string]struct {
		looks     []Look
		estimates int
		unused    int
	}{
		"begins half torn":             {up[14:], 0, 10},
		"begins half torn, falls":      {down[17:], 0, 7},
		"half torn after a gap":        {slices.Concat(up[:5], begins(up[14:])), 1, 10},
		"half torn without a gap":      {up, 1, 0},
		"begins a little torn":         {up[12:], 0, 12},
		"turns back by 2 percent":      {slices.Concat(up[:8], back, up[8:]), 1, 0},
		"falls back before it is torn": {slices.Concat(up[:12], looks(up[11].Reynolds.X*0.9, 1500, 1800, 20)), 1, 24},
		"one look alone":               {up[:1], 0, 1},
	} {
		estimates, unused, err := HalfTorn(c.looks, 0)
		if err != nil || len(estimates) != c.estimates || unused != c.unused {
			t.Errorf("%s: %d estimates, %d of no way, %v; want %d and %d", name, len(estimates), unused, err, c.estimates, c.unused)
		}
	}
}

// TestNeverTornHasABracketAlone: where it was never torn for half of the time nothing but
// that is said.
func TestNeverTornHasABracketAlone(t *testing.T) {
	estimates, _, err := HalfTorn(looks(1200, 2000, 2400, 20), 0)
	if err != nil || len(estimates) != 1 {
		t.Fatal(estimates, err)
	}
	if e := estimates[0]; e.Outcome != AllBelow || e.Known || e.Fit != nil || math.Abs(e.HighestBelow.X-2000) > 1e-6 {
		t.Errorf("%+v", e)
	}
}

// TestLooksWeigh: a look that tells as much as three is three looks.
func TestLooksWeigh(t *testing.T) {
	re := []float64{1900, 2000, 2100, 2200, 2300, 2400, 2500, 2600}
	torn := []int{0, 0, 1, 1, 2, 3, 3, 3}
	var many, one []trial
	for i, x := range re {
		v := uncertainty.Value{X: x, U: 0.01 * x}
		many = append(many, trial{v, float64(torn[i]) / 3, 3})
		for k := range 3 {
			t := trial{v, 0, 1}
			if k < torn[i] {
				t.share = 1
			}
			one = append(one, t)
		}
	}
	a, b := fitTrials(many, false), fitTrials(one, false)
	if a == nil || b == nil || !a.Bounded || !b.Bounded {
		t.Fatal(a, b)
	}
	near(t, "critical", a.Critical.X, b.Critical.X, 1e-6)
	near(t, "own", a.Own, b.Own, 1e-6)
	near(t, "low", a.Low, b.Low, 1e-5)
	near(t, "high", a.High, b.High, 1e-5)
}

// TestTheScatterOfTheShares: shares that lie about the curve by twice what their looks let
// expect give twice the uncertainty; by Pearson's statistic, computed here from the fit.
func TestTheScatterOfTheShares(t *testing.T) {
	scattered := func(by float64) *Fit {
		list := looks(1900, 3000, 2400, 20)
		for i := range list {
			sign := float64(1 - 2*((i/2)%2))
			s := list[i].Torn
			list[i].Torn = max(0, min(1, s+sign*by*math.Sqrt(s*(1-s)/list[i].Looks)))
		}
		estimates, _, err := HalfTorn(list, 0)
		if err != nil || len(estimates) != 1 || estimates[0].Fit == nil {
			t.Fatal(estimates, err)
		}
		return estimates[0].Fit
	}
	one, two := scattered(1), scattered(2)
	near(t, "scatter", one.Scatter, 1, 0.3)
	near(t, "scatter of twice as much", two.Scatter, 4, 0.3)
	near(t, "own", two.Own/one.Own, math.Sqrt(two.Scatter/one.Scatter), 0.1)
	side := func(f *Fit) float64 { // without what all Re share
		return math.Sqrt(math.Pow(math.Log(f.High/f.Critical.X), 2) - math.Pow(1.644854*0.01, 2))
	}
	near(t, "the interval", side(two)/side(one), math.Sqrt(two.Scatter/one.Scatter), 0.2)
}

// TestAnalyseHalf: transitional looks count for half, so that the Re lies midway between
// the limits of symmetrical looks; without turbulent ones nothing says where a half is.
func TestAnalyseHalf(t *testing.T) {
	list := seen("LLLLTTTTDDDD", 1900, 1950, 2000, 2050, 2100, 2150, 2200, 2250, 2300, 2350, 2400, 2450)
	half := func(list []Observation) Estimate {
		estimates, err := AnalyseHalf(list, 0)
		if err != nil || len(estimates) != 2 {
			t.Fatal(estimates, err)
		}
		return estimates[1]
	}
	e := half(list)
	if e.Limit != Half || e.HighestBelow.X != 2050 || e.LowestAbove.X != 2300 || e.Fit == nil || !e.Fit.Bounded || math.Abs(e.Fit.Critical.X-2175) > 8 {
		t.Fatalf("%+v, %+v", e, e.Fit)
	}
	if e := half(list[:8]); e.Fit != nil || e.Outcome != AllBelow {
		t.Errorf("without a turbulent look: %+v", e)
	}
}

// TestTheThermometerIsShared: an error of 1.5 K moves Re by 2.4 % a kelvin at 20 °C, and by
// 1.4 % at 65 °C (the sensitivities of reference/uncertainty). Of each its own, or left
// out, it would hide a difference, or make one.
func TestTheThermometerIsShared(t *testing.T) {
	slopes := []float64{0.0243, 0.0197, 0.0163, 0.0139}
	var values, thermometer, own []float64
	for _, s := range slopes {
		values = append(values, math.Log(2300)+1.5*s)
		thermometer = append(thermometer, 0.87*s)
		own = append(own, 0.004)
	}
	given, err := SameBut(values, own, [][]float64{thermometer})
	if err != nil || given.P < 0.2 || given.Degrees != 3 {
		t.Errorf("one value through a thermometer that is off: %+v, %v", given, err)
	}
	if left, _ := Same(values, own); left.P > 0.05 {
		t.Errorf("without the thermometer it is one value: %+v", left)
	}
	values[2] += 0.05
	if off, _ := SameBut(values, own, [][]float64{thermometer}); off.P > 1e-6 {
		t.Errorf("one is off by 5 %%: %+v", off)
	}
}

func TestHalfTornRefuses(t *testing.T) {
	good := looks(1600, 3200, 2400, 20)[0]
	for name, c := range map[string]struct {
		change func(*Look)
		width  float64
		want   string
	}{
		"share":    {func(l *Look) { l.Torn = 1.1 }, 0, "torn share"},
		"unknown":  {func(l *Look) { l.Torn = math.NaN() }, 0, "torn share"},
		"no looks": {func(l *Look) { l.Looks = 0 }, 0, "looks above 0"},
		"re":       {func(l *Look) { l.Reynolds.X = 0 }, 0, "reynolds number"},
		"ice":      {func(l *Look) { l.Celsius = -1 }, 0, "temperature"},
		"width":    {func(*Look) {}, -1, "width"},
	} {
		l := good
		c.change(&l)
		if _, _, err := HalfTorn([]Look{l}, c.width); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	for _, shared := range [][]float64{{1}, {1, math.NaN()}, {1, math.Inf(1)}} {
		if _, err := SameBut([]float64{1, 2}, []float64{1, 1}, [][]float64{shared}); err == nil {
			t.Errorf("shared %v: no error", shared)
		}
	}
}
