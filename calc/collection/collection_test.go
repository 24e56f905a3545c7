package collection

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"flowrigd/calc/uncertainty"
)

type value = uncertainty.Value

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s %.10g, want %.10g within %g", what, got, want, relative)
	}
}

// TestBuoyancy: ISO 4185, exact form; figures computed from the equation (from
// memory) by an independent script. The standard gives 1.06e-3 as the usual
// correction for water (from memory).
func TestBuoyancy(t *testing.T) {
	for _, row := range []struct {
		name                      string
		air, weights, water, want float64
	}{
		{"20 Cel", 1.2, 8000, 998.2065, 1.001053422},
		{"1000 kg/m3", 1.2, 8000, 1000, 1.001051261},
		{"60 Cel", 1.2, 8000, 983.1953, 1.001071819},
		{"thin air", 1.16, 8000, 998.2065, 1.001018268},
	} {
		t.Run(row.name, func(t *testing.T) {
			near(t, "factor", Buoyancy(row.air, row.weights, row.water), row.want, 1e-9)
		})
	}
}

// TestByWeight: worked example of the weighing method, computed by an
// independent script from the equations of ISO 4185 (from memory).
func TestByWeight(t *testing.T) {
	r, err := ByWeight{
		Gross:  value{X: 5.4876, U: 0.0005},
		Tare:   value{X: 0.5},
		Water:  value{X: 998.2065},
		Timing: Timing{Elapsed: value{X: 60.12}},
	}.Flow()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "flow", r.Flow.X, 8.319735233e-5, 1e-9)
	near(t, "mass flow", r.Flow.X*998.2065, 0.0830481379, 1e-9)
	// 0.5 g of 4.9876 kg, and the air's ± 0.1 kg/m³ rectangular: 0.1/√3 times
	// 1/997.0 − 1/7998.8 = 8.78e-4.
	air := 0.1 / math.Sqrt(3) * (1/997.0065 - 1/7998.8)
	near(t, "u", r.Flow.U/r.Flow.X, math.Hypot(0.0005/4.9876, air), 1e-6)
}

// TestByVolume: ISO 8316 (from memory), figures by hand.
func TestByVolume(t *testing.T) {
	rows := []struct {
		name    string
		c       ByVolume
		flow, u float64 // m³/s; relative
	}{
		{"5 L in 60 s, reaction 0.1 s each: 0.2357 %",
			ByVolume{Volume: value{X: 5e-3}, Temperature: value{X: 20}, Timing: Timing{value{X: 60}, 0.1}}, 8.333333e-5, 0.002357},
		{"200 mL in 30 s, vessel 0.2 %",
			ByVolume{Volume: value{X: 2e-4, U: 4e-7}, Temperature: value{X: 20}, Timing: Timing{value{X: 30}, 0.1}}, 6.666667e-6, math.Hypot(0.002, math.Sqrt2*0.1/30)},
		{"steel at 60 Cel: 1 + 3·16e-6·40",
			ByVolume{Volume: value{X: 5e-3}, Temperature: value{X: 60}, Expansion: value{X: StainlessExpansion}, Timing: Timing{Elapsed: value{X: 60}}}, 8.333333e-5 * 1.00192, 0},
		{"the same, α to 2e-6: 2.4e-4",
			ByVolume{Volume: value{X: 5e-3}, Temperature: value{X: 60}, Expansion: value{X: StainlessExpansion, U: 2e-6}, Timing: Timing{Elapsed: value{X: 60}}}, 8.333333e-5 * 1.00192, 2.4e-4 / 1.00192},
		// 985.694 and 983.195 kg/m³: IAPWS-95 at 55 and 60 °C, handbook values.
		{"shrunk from 60 to 55 Cel",
			ByVolume{Volume: value{X: 5e-3}, Temperature: value{X: 55}, Density: value{X: 985.694}, MeterDensity: value{X: 983.195}, Timing: Timing{Elapsed: value{X: 60}}}, 8.333333e-5 * 1.002541713, 0},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			r, err := row.c.Flow()
			if err != nil {
				t.Fatal(err)
			}
			near(t, "flow", r.Flow.X, row.flow, 1e-7)
			if got := r.Flow.U / r.Flow.X; math.Abs(got-row.u) > 1e-3*row.u+1e-12 {
				t.Errorf("relative u %.6g, want %.6g", got, row.u)
			}
		})
	}
}

func TestByHand(t *testing.T) {
	timing := ByHand(30)
	near(t, "timer", timing.Elapsed.U, 0.01/math.Sqrt(12), 1e-12) // JCGM 100, F.2.2.1
	if timing.Reaction != 0.1 {
		t.Errorf("reaction %g s", timing.Reaction)
	}
}

// TestBudgetMonteCarlo holds every sensitivity at once: u of the law of
// propagation against a Monte Carlo (JCGM 101) over all inputs of both methods.
func TestBudgetMonteCarlo(t *testing.T) {
	volume := ByVolume{
		Volume: value{X: 2e-4, U: 1e-6}, Temperature: value{X: 60, U: 8}, Expansion: value{X: 1e-4, U: 2e-5},
		Density: value{X: 978, U: 4}, MeterDensity: value{X: 976, U: 3}, Timing: Timing{value{X: 30, U: 0.1}, 0.1},
	}
	weight := ByWeight{
		Gross: value{X: 0.7, U: 0.001}, Tare: value{X: 0.5, U: 0.0008}, Air: value{X: 1.2, U: 0.05},
		Weights: 8000, Water: value{X: 975, U: 4}, Timing: Timing{value{X: 30, U: 0.1}, 0.1},
	}
	r := rand.New(rand.NewPCG(4185, 8316))
	draw := func(v value) value { return value{X: v.X + v.U*r.NormFloat64()} }
	shake := func(timing Timing) Timing {
		s := draw(timing.Elapsed).X + timing.Reaction*(r.NormFloat64()-r.NormFloat64())
		return Timing{Elapsed: value{X: s}}
	}
	rows := []struct {
		name   string
		method interface{ Flow() (Result, error) }
		drawn  func() interface{ Flow() (Result, error) }
	}{
		{"volume", volume, func() interface{ Flow() (Result, error) } {
			c := volume
			c.Volume, c.Temperature, c.Expansion = draw(c.Volume), draw(c.Temperature), draw(c.Expansion)
			c.Density, c.MeterDensity, c.Timing = draw(c.Density), draw(c.MeterDensity), shake(c.Timing)
			return c
		}},
		{"weight", weight, func() interface{ Flow() (Result, error) } {
			c := weight
			c.Gross, c.Tare, c.Air = draw(c.Gross), draw(c.Tare), draw(c.Air)
			c.Water, c.Timing = draw(c.Water), shake(c.Timing)
			return c
		}},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			want, err := row.method.Flow()
			if err != nil {
				t.Fatal(err)
			}
			var mean, square float64
			const trials = 100000
			for i := range trials {
				one, err := row.drawn().Flow()
				if err != nil {
					t.Fatal(err)
				}
				d := one.Flow.X - mean
				mean += d / float64(i+1)
				square += d * (one.Flow.X - mean)
			}
			near(t, "u", want.Flow.U, math.Sqrt(square/trials), 0.01)
		})
	}
}

func TestAgainst(t *testing.T) {
	collected := Result{Flow: value{X: 2e-5, U: 4e-8}, DoF: math.Inf(1)}
	rows := []struct {
		name    string
		metered Metered
		factor  float64
		u       float64
		verdict Verdict
	}{
		{"right on, wide limit", Metered{Flow: value{X: 2e-5, U: 3e-8}, Limit: 2e-7}, 1, 0.0025, Keeps},
		{"right on, limit under U = 1e-7", Metered{Flow: value{X: 2e-5, U: 3e-8}, Limit: 0.9e-7}, 1, 0.0025, Inconclusive},
		{"2.5 % high, limit 1 %", Metered{Flow: value{X: 2.05e-5, U: 3e-8}, Limit: 2e-7}, 2 / 2.05, 2 / 2.05 * math.Hypot(0.002, 3e-8/2.05e-5), Breaks},
		{"1 % low, limit 1 %", Metered{Flow: value{X: 1.98e-5, U: 3e-8}, Limit: 2e-7}, 2 / 1.98, 2 / 1.98 * math.Hypot(0.002, 3e-8/1.98e-5), Inconclusive},
		{"no accuracy stated", Metered{Flow: value{X: 2e-5, U: 3e-8}}, 1, 0.0025, Inconclusive},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			c, err := collected.Against(row.metered)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "factor", c.Factor.X, row.factor, 1e-12)
			near(t, "u", c.Factor.U, row.u, 1e-9)
			if c.Verdict != row.verdict {
				t.Errorf("%v, want %v", c.Verdict, row.verdict)
			}
		})
	}
	// 0.1 s a press: under 1 % (k = 2) from 28 s on, the trade's half minute.
	near(t, "seconds needed", SecondsNeeded(0.1, 0.01), 28.28427, 1e-6)
}

func TestBadInput(t *testing.T) {
	good := ByVolume{Volume: value{X: 2e-4}, Temperature: value{X: 20}, Timing: ByHand(30)}
	goodWeight := ByWeight{Gross: value{X: 1}, Tare: value{X: 0.5}, Water: value{X: 998}, Timing: ByHand(30)}
	volume := func(change func(*ByVolume)) func() (Result, error) {
		c := good
		change(&c)
		return c.Flow
	}
	weight := func(change func(*ByWeight)) func() (Result, error) {
		c := goodWeight
		change(&c)
		return c.Flow
	}
	rows := []struct {
		name string
		flow func() (Result, error)
		want string
	}{
		{"no volume", volume(func(c *ByVolume) { c.Volume.X = 0 }), "volume: 0 m3 is outside 1e-06 to 100 m3"},
		{"negative volume", volume(func(c *ByVolume) { c.Volume.X = -1 }), "volume: -1 m3"},
		{"volume not a number", volume(func(c *ByVolume) { c.Volume.X = math.NaN() }), "volume: NaN m3"},
		{"volume less certain than itself", volume(func(c *ByVolume) { c.Volume.U = 1 }), "volume: uncertainty 1 m3"},
		{"no time", volume(func(c *ByVolume) { c.Timing = ByHand(0) }), "time: 0 s is outside 1 to 86400 s; collect for about 30 s"},
		{"time not a number", volume(func(c *ByVolume) { c.Timing = ByHand(math.NaN()) }), "time: NaN s"},
		{"slow hand", volume(func(c *ByVolume) { c.Timing.Reaction = 10 }), "reaction: 10 s"},
		{"ice", volume(func(c *ByVolume) { c.Temperature.X = -3 }), "vessel temperature: -3 Cel"},
		{"rubber vessel", volume(func(c *ByVolume) { c.Expansion.X = 1 }), "vessel expansion: 1 1/K"},
		{"one density alone", volume(func(c *ByVolume) { c.Density.X = 990 }), "water density: 0 kg/m3"},
		{"uncertainty not a number", volume(func(c *ByVolume) { c.Temperature.U = math.NaN() }), "vessel temperature: standard uncertainty NaN"},
		{"lighter than empty", weight(func(c *ByWeight) { c.Gross.X = 0.4 }), "gross 0.4 kg is not above tare 0.5 kg"},
		{"grams for kilograms", weight(func(c *ByWeight) { c.Gross.X = 1e6 }), "weight of water: 999999"},
		{"weight less certain than itself", weight(func(c *ByWeight) { c.Tare.U = 2 }), "weight: uncertainty 2 kg"},
		{"no air", weight(func(c *ByWeight) { c.Air.X = 0.01 }), "air density: 0.01 kg/m3"},
		{"weights of wood", weight(func(c *ByWeight) { c.Weights = 600 }), "density of weights: 600 kg/m3"},
		{"steam", weight(func(c *ByWeight) { c.Water.X = 0.6 }), "water density: 0.6 kg/m3"},
		{"no time to weigh", weight(func(c *ByWeight) { c.Timing = Timing{} }), "time: 0 s"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			_, err := row.flow()
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("error %v, want %q in it", err, row.want)
			}
		})
	}
}

func TestAgainstBadInput(t *testing.T) {
	collected := Result{Flow: value{X: 2e-5, U: 4e-8}}
	for name, m := range map[string]Metered{
		"meter stands":           {},
		"meter runs backwards":   {Flow: value{X: -2e-5}},
		"uncertainty of nothing": {Flow: value{X: 2e-5, U: math.NaN()}},
		"negative limit":         {Flow: value{X: 2e-5}, Limit: -1},
	} {
		if c, err := collected.Against(m); err == nil {
			t.Errorf("%s: %+v, want an error", name, c)
		}
	}
	if _, err := (Result{}).Against(Metered{Flow: value{X: 2e-5}}); err == nil {
		t.Error("an empty result was compared")
	}
}
