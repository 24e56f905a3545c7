package explain_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"

	"flowrigd/calc/explain"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// bare is a quantity without ±, in SI units.
func bare(x float64) explain.Given {
	return explain.Given{Value: uncertainty.Value{X: x, U: math.NaN()}, Text: "bare", Number: "1", Factor: 1}
}

func sure(v uncertainty.Value) explain.Given {
	return explain.Given{Value: v, Text: "sure ± so much", Number: "1", Factor: 1}
}

// jug is a collection of 200 mL in 30 s at 20 °C in a 13 mm tube, all but the
// time with its ±.
func jug() explain.Reading {
	return explain.Reading{
		Volume:      sure(uncertainty.Limits(200e-6, 2e-6)),
		Time:        bare(30),
		Temperature: sure(uncertainty.Expanded(20, 0.5, 2)),
		Bore:        sure(uncertainty.Expanded(0.013, 5e-5, 2)),
		Length:      sure(uncertainty.Expanded(0.9, 0.002, 2)),
		Head:        sure(uncertainty.Expanded(1.35, 0.005, 2)),

		LaminarBelow: 2000, TurbulentAbove: 4000,
	}
}

func solve(t *testing.T, r explain.Reading) *explain.Answer {
	t.Helper()
	a, err := explain.Solve(r)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func near(t *testing.T, a *explain.Answer, id quantity.ID, want, relative float64) {
	t.Helper()
	got, known := a.Set.Get(id)
	if !known || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s = %.10g (known %v), want %.10g within %g", id.Name(), got, known, want, relative)
	}
}

func unknown(t *testing.T, a *explain.Answer, ids ...quantity.ID) {
	t.Helper()
	for _, id := range ids {
		if v, known := a.Set.Get(id); known {
			t.Errorf("%s = %v, want unknown", id.Name(), v)
		}
	}
}

// nu20 is the kinematic viscosity at 20 °C and 0.1 MPa by python3-iapws 1.5.3.
const nu20 = 1.0033667563e-6

// The oracle is JCGM 100, 5.1.6, written out by hand: the jug's 1 % as limits,
// the stopwatch's 0.01 s as limits and 0.1 s twice, 0.25 K at −2.429 % per
// kelvin (the difference of ν between 19.99 and 20.01 °C by python3-iapws), and
// 0.1 % for the formula.
func TestCollection(t *testing.T) {
	a := solve(t, jug())
	re := 4 * 200e-6 / 30 / (math.Pi * 0.013 * nu20)
	sq := func(x float64) float64 { return x * x }
	u := math.Sqrt(sq(0.01)/3 + sq(0.005/30)/3 + 2*sq(0.1/30) + sq(2.5e-5/0.013) + sq(0.02429*0.25) + sq(0.001))
	near(t, a, quantity.Flow, 200e-6/30, 1e-12)
	near(t, a, quantity.Reynolds, re, 1e-9)
	near(t, a, quantity.ReynoldsUncertainty, 2*u*re, 2e-4)
	near(t, a, quantity.FrictionFactor, 64/re, 1e-9)
	near(t, a, quantity.Developed, 1, 0)
	v := 4 * 200e-6 / 30 / (math.Pi * 0.013 * 0.013)
	near(t, a, quantity.LossCoefficient, 1.35*2*9.80665/(v*v)-2-64/re*0.9/0.013, 1e-9)
	unknown(t, a, quantity.Level, quantity.TemperatureRate, quantity.Steady, quantity.HeatingPermitted)
}

// A ± on the time stands in place of the hand's reaction.
func TestTimeWithItsOwnUncertainty(t *testing.T) {
	r := jug()
	byHand := solve(t, r)
	r.Time = sure(uncertainty.Expanded(30, 0.02, 2))
	a := solve(t, r)
	near(t, a, quantity.Reynolds, must(t, byHand, quantity.Reynolds), 1e-15)
	// √(0.1² + 0.1² + 0.01²/12) s by hand against 0.01 s.
	re := must(t, a, quantity.Reynolds)
	less := math.Pow(must(t, byHand, quantity.ReynoldsUncertainty)/re/2, 2) - math.Pow(must(t, a, quantity.ReynoldsUncertainty)/re/2, 2)
	if want := (0.02 + 1e-4/12 - 1e-4) / 900; math.Abs(less-want) > 1e-6*want {
		t.Errorf("(u/Re)² is %v less, want %v", less, want)
	}
	if text := a.Working(); strings.Contains(text, "reaction") && !strings.Contains(text, "The ± of the time") {
		t.Errorf("the working still has a hand on the watch:\n%s", text)
	}
}

func must(t *testing.T, a *explain.Answer, id quantity.ID) float64 {
	t.Helper()
	v, known := a.Set.Get(id)
	if !known {
		t.Fatalf("%s is unknown", id.Name())
	}
	return v
}

// A quantity without ± is not one known exactly.
func TestUnstated(t *testing.T) {
	about := []quantity.ID{quantity.ReynoldsUncertainty, quantity.ProbabilityBelow, quantity.ProbabilityBetween,
		quantity.ProbabilityAbove, quantity.LossCoefficientUncertainty}
	for _, c := range []struct {
		name   string
		change func(*explain.Reading)
		says   string
	}{
		{"volume", func(r *explain.Reading) { r.Volume.U = math.NaN() }, "no ± given for volume"},
		{"temperature", func(r *explain.Reading) { r.Temperature.U = math.NaN() }, "no ± given for temperature"},
		{"bore", func(r *explain.Reading) { r.Bore.U = math.NaN() }, "no ± given for bore"},
		{"flow", func(r *explain.Reading) { r.Volume, r.Time, r.Flow = explain.Given{}, explain.Given{}, bare(200e-6/30) }, "no ± given for flow"},
		{"all", func(r *explain.Reading) { r.Volume.U, r.Temperature.U, r.Bore.U = math.NaN(), math.NaN(), math.NaN() },
			"no ± given for volume, temperature and bore"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := jug()
			want := must(t, solve(t, r), quantity.Reynolds)
			c.change(&r)
			a := solve(t, r)
			near(t, a, quantity.Reynolds, want, 1e-14)
			unknown(t, a, about...)
			if !strings.Contains(a.Short(), c.says) {
				t.Errorf("%q is not in\n%s", c.says, a.Short())
			}
			if text := a.Working(); !strings.Contains(text, "not stated") || !strings.Contains(text, "Unknown is not zero") {
				t.Errorf("the working hides that it does not know:\n%s", text)
			}
		})
	}
}

// Without length there is no word on development and losses; with it there is.
func TestWithoutLength(t *testing.T) {
	r := jug()
	r.Length = explain.Given{}
	a := solve(t, r)
	unknown(t, a, quantity.Developed, quantity.LossCoefficient, quantity.LossCoefficientUncertainty)
	near(t, a, quantity.Head, 1.35, 0)
	must(t, a, quantity.EntranceLength)
	if text := a.Short() + a.Working(); strings.Contains(text, "shorter than the entrance") {
		t.Errorf("a tube of unknown length is called short:\n%s", text)
	}
}

func TestSolveRefuses(t *testing.T) {
	for _, c := range []struct {
		says   string
		change func(*explain.Reading)
	}{
		{"ice", func(r *explain.Reading) { r.Temperature.X = -1 }},
		{"steam", func(r *explain.Reading) { r.Flow, r.Temperature.X = bare(1e-5), 99.9 }},
		{"bore", func(r *explain.Reading) { r.Bore.X = 0 }},
		{"volume", func(r *explain.Reading) { r.Volume.X = 0 }},
		{"time", func(r *explain.Reading) { r.Time.X = 0.1 }},
		{"flow", func(r *explain.Reading) { r.Flow = bare(-1e-5) }},
		{"flow", func(r *explain.Reading) { r.Flow = bare(math.NaN()) }},
		{"lower limit", func(r *explain.Reading) { r.LaminarBelow = 0 }},
	} {
		r := jug()
		c.change(&r)
		if a, err := explain.Solve(r); err == nil || a != nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
	}
}

// Whatever is read, the page keeps its width and prints no number that is none.
func TestPageHolds(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	for range 500 {
		a := solve(t, anyReading(random))
		text := a.Working() + a.Short()
		for _, line := range strings.Split(a.Working(), "\n") {
			if utf8.RuneCountInString(line) > 100 {
				t.Fatalf("%d characters: %s", utf8.RuneCountInString(line), line)
			}
		}
		for _, bad := range []string{"NaN", "Inf", "%!", "  \n"} {
			if strings.Contains(text, bad) {
				t.Fatalf("%q in\n%s", bad, text)
			}
		}
	}
}

// anyReading is a reading anywhere in the range, with or without each part.
func anyReading(random *rand.Rand) explain.Reading {
	some := func(low, high float64) explain.Given {
		x := low * math.Pow(high/low, random.Float64())
		switch random.IntN(3) {
		case 0:
			return bare(x)
		case 1:
			return sure(uncertainty.Limits(x, x*random.Float64()/4))
		}
		return sure(uncertainty.Expanded(x, x*random.Float64()/4, 2))
	}
	maybe := func(g explain.Given) explain.Given {
		if random.IntN(2) == 0 {
			return explain.Given{}
		}
		return g
	}
	r := explain.Reading{
		Flow: some(1e-8, 1e-2), Temperature: some(0.01, 99), Bore: some(1e-3, 1),
		Length: maybe(some(1e-3, 100)), Roughness: maybe(some(1e-7, 4e-5)), Head: maybe(some(1e-3, 20)),
		LaminarBelow: 2000, TurbulentAbove: 4000,
	}
	if random.IntN(2) == 0 {
		r.Flow, r.Volume, r.Time = explain.Given{}, some(1e-6, 1), some(1, 8e4)
	}
	return r
}
