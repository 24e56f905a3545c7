package pipe_test

import (
	"math"
	"strings"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// bench is the rig of the examples: a 13 mm glass tube of 0.9 m.
func bench() pipe.Rig {
	return pipe.Rig{
		Bore:           uncertainty.Expanded(0.013, 0.00004, 2),
		Length:         uncertainty.Expanded(0.9, 0.001, 2),
		Roughness:      uncertainty.Value{X: 1.5e-6},
		Drop:           uncertainty.Expanded(1.10, 0.002, 2),
		LaminarBelow:   2000,
		TurbulentAbove: 4000,
		FlowMin:        0.2 / 60000,
	}
}

func mustNew(t testing.TB, rig pipe.Rig) *pipe.Pipe {
	t.Helper()
	p, err := pipe.New(rig)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func known(v uncertainty.Value) pipe.Input { return pipe.Input{Value: v, Known: true} }

// litres makes a flow in L/min with limits of error of 0.5 % and 0.005 L/min.
func litres(perMinute float64) pipe.Input {
	return known(uncertainty.Limits(perMinute/60000, (0.005*math.Abs(perMinute)+0.005)/60000))
}

func inputs(perMinute, celsius float64) pipe.Inputs {
	return pipe.Inputs{
		Flow:        litres(perMinute),
		Temperature: known(uncertainty.Limits(celsius, 1.5)),
		Level:       known(uncertainty.Limits(0.25, 0.002)),
		Ambient:     known(uncertainty.Limits(20, 1)),
	}
}

func relative(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g within %g relative", what, got, want, tolerance)
	}
}

func get(t *testing.T, s *quantity.Set, id quantity.ID) float64 {
	t.Helper()
	v, ok := s.Get(id)
	if !ok {
		t.Errorf("%s is unknown", id.Name())
		return math.NaN()
	}
	return v
}

func unknown(t *testing.T, s *quantity.Set, ids ...quantity.ID) {
	t.Helper()
	for _, id := range ids {
		if v, ok := s.Get(id); ok {
			t.Errorf("%s = %v, want unknown", id.Name(), v)
		}
	}
}

// A turbulent state worked by hand from the definitions with ν at 20 °C as
// computed with python3-iapws (1.00336675626e-6 m²/s).
func TestDeriveTurbulent(t *testing.T) {
	const flow, nu = 5.0 / 60000, 1.00336675626e-6
	var s quantity.Set
	result := mustNew(t, bench()).Derive(inputs(5, 20), &s)
	v := flow / (math.Pi * 0.013 * 0.013 / 4)
	re := v * 0.013 / nu
	relative(t, "velocity", get(t, &s, quantity.Velocity), v, 1e-12)
	relative(t, "Re", get(t, &s, quantity.Reynolds), re, 1e-9)
	relative(t, "Re", re, 8134.4054, 1e-7) // the shared table of this rig
	f := get(t, &s, quantity.FrictionFactor)
	relative(t, "Colebrook", -2*math.Log10(1.5e-6/0.013/3.7+2.51/(re*math.Sqrt(f)))*math.Sqrt(f), 1, 1e-9)
	relative(t, "entrance", get(t, &s, quantity.EntranceLength), 4.4*math.Pow(re, 1./6)*0.013, 1e-9)
	relative(t, "head", get(t, &s, quantity.Head), 1.35, 1e-12)
	k := 1.35*2*9.80665/(v*v) - 1.06 - f*0.9/0.013
	relative(t, "K", get(t, &s, quantity.LossCoefficient), k, 1e-9)
	relative(t, "limit flow", get(t, &s, quantity.LaminarLimitFlow), 2000*nu*0.013*math.Pi/4, 1e-9)
	relative(t, "limit flow", get(t, &s, quantity.TurbulentLimitFlow), 4000*nu*0.013*math.Pi/4, 1e-9)
	relative(t, "shear", result.WallShear, f/8*get(t, &s, quantity.Density)*v*v, 1e-9)
	if s.Band() != quantity.Turbulent || get(t, &s, quantity.Developed) != 1 || result.Warnings != 0 {
		t.Errorf("band %v, developed, warnings %v", s.Band(), result.Warnings)
	}
}

func TestBands(t *testing.T) {
	p := mustNew(t, bench())
	nu := 1.00336675626e-6
	for _, c := range []struct {
		re   float64
		want quantity.Band
	}{{1500, quantity.Laminar}, {1999.9, quantity.Laminar}, {2000.1, quantity.Transitional}, {3999.9, quantity.Transitional}, {4000.1, quantity.Turbulent}} {
		var s quantity.Set
		p.Derive(inputs(pipe.LimitFlow(c.re, 0.013, nu)*60000, 20), &s)
		if s.Band() != c.want {
			t.Errorf("Re %v: %v, want %v", c.re, s.Band(), c.want)
		}
	}
}

func TestTransitionalHasNoFriction(t *testing.T) {
	var s quantity.Set
	mustNew(t, bench()).Derive(inputs(1.8, 20), &s)
	if s.Band() != quantity.Transitional {
		t.Fatalf("band %v", s.Band())
	}
	unknown(t, &s, quantity.FrictionFactor, quantity.EntranceLength, quantity.Developed)
	get(t, &s, quantity.Head)
	sum := get(t, &s, quantity.ProbabilityBelow) + get(t, &s, quantity.ProbabilityBetween) + get(t, &s, quantity.ProbabilityAbove)
	relative(t, "sum of probabilities", sum, 1, 1e-12)
}

func TestLaminarNotDeveloped(t *testing.T) {
	var s quantity.Set
	result := mustNew(t, bench()).Derive(inputs(1.2, 20), &s)
	re := get(t, &s, quantity.Reynolds)
	relative(t, "friction", get(t, &s, quantity.FrictionFactor), 64/re, 1e-12)
	relative(t, "entrance", get(t, &s, quantity.EntranceLength), 0.06*re*0.013, 1e-12)
	if get(t, &s, quantity.Developed) != 0 || result.Warnings != 0 {
		t.Errorf("a tube of 0.9 m at Re %v is said to be long enough, or warned of: %q", re, result.Warnings)
	}
}

// Only a tube of half the entrance length or less is worth a warning: at Re 1952 that
// is 0.761 m, at Re 8134 0.128 m.
func TestShortTubeWarns(t *testing.T) {
	for _, c := range []struct {
		perMinute, length float64
		warns             bool
	}{{1.2, 0.75, true}, {1.2, 0.77, false}, {5, 0.127, true}, {5, 0.13, false}} {
		rig := bench()
		rig.Length.X = c.length
		var s quantity.Set
		if got := mustNew(t, rig).Derive(inputs(c.perMinute, 20), &s).Warnings.Has(pipe.NotDeveloped); got != c.warns {
			t.Errorf("%g L/min, %g m: warns %v", c.perMinute, c.length, got)
		}
	}
}

// Every way in which a state may be incomplete.
func TestUnknown(t *testing.T) {
	flowRows := []quantity.ID{quantity.Reynolds, quantity.ReynoldsUncertainty, quantity.ProbabilityBelow,
		quantity.ProbabilityBetween, quantity.ProbabilityAbove, quantity.FrictionFactor, quantity.EntranceLength,
		quantity.Developed, quantity.LossCoefficient, quantity.LossCoefficientUncertainty}
	warmRows := []quantity.ID{quantity.Density, quantity.DynamicViscosity, quantity.KinematicViscosity,
		quantity.LaminarLimitFlow, quantity.TurbulentLimitFlow}
	both := append(append([]quantity.ID{}, flowRows...), warmRows...)
	for _, c := range []struct {
		name    string
		change  func(*pipe.Inputs)
		band    quantity.Band
		unknown []quantity.ID
		warning pipe.Warnings
	}{
		{"flow missing", func(in *pipe.Inputs) { in.Flow.Known = false }, quantity.Unknown, flowRows, 0},
		{"flow not a number", func(in *pipe.Inputs) { in.Flow.X = math.NaN() }, quantity.Unknown, flowRows, 0},
		{"flow without bound on its error", func(in *pipe.Inputs) { in.Flow.U = math.Inf(1) }, quantity.Unknown, flowRows, 0},
		{"flow below the range", func(in *pipe.Inputs) { in.Flow = litres(0.19) }, quantity.NoFlow, flowRows, 0},
		{"flow zero", func(in *pipe.Inputs) { in.Flow = litres(0) }, quantity.NoFlow, flowRows, 0},
		{"flow a little below zero", func(in *pipe.Inputs) { in.Flow = litres(-0.05) }, quantity.NoFlow, flowRows, 0},
		{"flow backwards", func(in *pipe.Inputs) { in.Flow = litres(-5) }, quantity.Unknown, flowRows, pipe.ReverseFlow},
		{"temperature missing", func(in *pipe.Inputs) { in.Temperature = pipe.Input{} }, quantity.Unknown, both, 0},
		{"ice", func(in *pipe.Inputs) { in.Temperature.X = -1 }, quantity.Unknown, both, pipe.NotLiquid},
		{"steam", func(in *pipe.Inputs) { in.Temperature.X = 101 }, quantity.Unknown, both, pipe.NotLiquid},
		{"no flow and no temperature", func(in *pipe.Inputs) { in.Flow, in.Temperature = litres(0.1), pipe.Input{} }, quantity.NoFlow, both, 0},
		{"level missing", func(in *pipe.Inputs) { in.Level.Known = false }, quantity.Turbulent,
			[]quantity.ID{quantity.Head, quantity.LossCoefficient, quantity.LossCoefficientUncertainty}, 0},
		{"nothing", func(in *pipe.Inputs) { *in = pipe.Inputs{} }, quantity.Unknown, append(both, quantity.Head, quantity.Velocity), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := mustNew(t, bench())
			var s quantity.Set
			p.Derive(inputs(5, 20), &s) // a full state before: nothing of it may stay
			in := inputs(5, 20)
			c.change(&in)
			result := p.Derive(in, &s)
			if s.Band() != c.band || result.Warnings != c.warning {
				t.Errorf("band %v, warnings %q; want %v, %q", s.Band(), result.Warnings, c.band, c.warning)
			}
			unknown(t, &s, c.unknown...)
		})
	}
}

// A quantity whose accuracy nobody stated still gives the Reynolds number, and
// takes from the state exactly what rests on that accuracy.
func TestAccuracyNotStated(t *testing.T) {
	aboutRe := []quantity.ID{quantity.ReynoldsUncertainty, quantity.ProbabilityBelow,
		quantity.ProbabilityBetween, quantity.ProbabilityAbove, quantity.LossCoefficientUncertainty}
	aboutLoss := []quantity.ID{quantity.LossCoefficientUncertainty}
	nan := math.NaN()
	for _, c := range []struct {
		name    string
		change  func(*pipe.Rig, *pipe.Inputs)
		unknown []quantity.ID
	}{
		{"flow", func(_ *pipe.Rig, in *pipe.Inputs) { in.Flow.U = nan }, aboutRe},
		{"flow as normal", func(_ *pipe.Rig, in *pipe.Inputs) { in.Flow.Value = uncertainty.Value{X: in.Flow.X, U: nan} }, aboutRe},
		{"temperature", func(_ *pipe.Rig, in *pipe.Inputs) { in.Temperature.U = nan }, aboutRe},
		{"bore", func(r *pipe.Rig, _ *pipe.Inputs) { r.Bore.U = nan }, aboutRe},
		{"level", func(_ *pipe.Rig, in *pipe.Inputs) { in.Level.U = nan }, aboutLoss},
		{"drop", func(r *pipe.Rig, _ *pipe.Inputs) { r.Drop.U = nan }, aboutLoss},
		{"length", func(r *pipe.Rig, _ *pipe.Inputs) { r.Length.U = nan }, aboutLoss},
		{"roughness", func(r *pipe.Rig, _ *pipe.Inputs) { r.Roughness.U = nan }, aboutLoss},
	} {
		t.Run(c.name, func(t *testing.T) {
			rig, in := bench(), inputs(5, 20)
			var want, s quantity.Set
			mustNew(t, rig).Derive(in, &want)
			c.change(&rig, &in)
			mustNew(t, rig).Derive(in, &s)
			unknown(t, &s, c.unknown...)
			for _, id := range c.unknown {
				want.Clear(id)
			}
			if s != want {
				t.Errorf("more or less than that has changed:\n%+v\nwant\n%+v", s, want)
			}
		})
	}
}

// The wall's roughness has no part in laminar flow, so nobody need state it.
func TestLaminarNeedsNoRoughness(t *testing.T) {
	rig := bench()
	rig.Roughness.U = math.NaN()
	var s quantity.Set
	mustNew(t, rig).Derive(inputs(1, 20), &s)
	get(t, &s, quantity.LossCoefficientUncertainty)
}

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		says   string
		change func(*pipe.Rig)
	}{
		{"bore: 0 m", func(r *pipe.Rig) { r.Bore.X = 0 }},
		{"bore: -0.013 m", func(r *pipe.Rig) { r.Bore.X = -0.013 }},
		{"bore: NaN m", func(r *pipe.Rig) { r.Bore.X = math.NaN() }},
		{"bore: standard uncertainty", func(r *pipe.Rig) { r.Bore.U = -1e-5 }},
		{"bore: standard uncertainty", func(r *pipe.Rig) { r.Bore.U = math.Inf(1) }},
		{"length: 0 m", func(r *pipe.Rig) { r.Length.X = 0 }},
		{"roughness: 0.001 m", func(r *pipe.Rig) { r.Roughness.X = 0.001 }},
		{"drop: +Inf m", func(r *pipe.Rig) { r.Drop.X = math.Inf(1) }},
		{"lower limit", func(r *pipe.Rig) { r.LaminarBelow = 0 }},
		{"upper limit", func(r *pipe.Rig) { r.TurbulentAbove = 1999 }},
		{"least flow", func(r *pipe.Rig) { r.FlowMin = -1 }},
		{"orientation", func(r *pipe.Rig) { r.Orientation = 7 }},
	} {
		rig := bench()
		c.change(&rig)
		if p, err := pipe.New(rig); err == nil || p != nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
	}
}

// What is no bench at all is refused, and the edges are not: 0.1 mm to 1 m of bore, 1
// mm to 100 m of length, a roughness up to a twentieth of the bore (Colebrook and
// White's range), 20 m of drop either way, limits from 1 to a million.
func TestNewAtTheEdges(t *testing.T) {
	for name, c := range map[string]struct {
		set       func(r *pipe.Rig, x float64)
		low, high float64
	}{
		"bore":        {func(r *pipe.Rig, x float64) { r.Bore.X, r.Roughness.X = x, 0 }, 1e-4, 1},
		"length":      {func(r *pipe.Rig, x float64) { r.Length.X = x }, 1e-3, 100},
		"roughness":   {func(r *pipe.Rig, x float64) { r.Roughness.X = x }, 0, 0.013 / 20},
		"drop":        {func(r *pipe.Rig, x float64) { r.Drop.X = x }, -20, 20},
		"lower limit": {func(r *pipe.Rig, x float64) { r.LaminarBelow, r.TurbulentAbove = x, 1e6 }, 1, 1e6},
		"upper limit": {func(r *pipe.Rig, x float64) { r.TurbulentAbove = x }, 2000, 1e6},
		"least flow":  {func(r *pipe.Rig, x float64) { r.FlowMin = x }, 0, 1e6},
		"uncertainty": {func(r *pipe.Rig, x float64) { r.Drop.U = x }, 0, 40},
	} {
		for x, refused := range map[float64]bool{
			c.low: false, c.high: false, c.low - 1e-6*(c.high-c.low): true, c.high + 1e-6*(c.high-c.low): true,
		} {
			rig := bench()
			rig.Bore.U = 0
			c.set(&rig, x)
			if _, err := pipe.New(rig); (err != nil) != refused {
				t.Errorf("%s of %g: %v", name, x, err)
			}
		}
	}
}

// The budget's rows must combine to the published uncertainty, and match the
// formula of JCGM 100 written out.
func TestBudget(t *testing.T) {
	p := mustNew(t, bench())
	in := inputs(5, 42)
	in.Flow.OtherU, in.Temperature.OtherU = 0.01/60000, 0.2
	var s quantity.Set
	p.Derive(in, &s)
	rows := p.Budget(in)
	if len(rows) != 6 {
		t.Fatalf("%d rows: %+v", len(rows), rows)
	}
	relative(t, "2u", 2*uncertainty.Combine(rows...).U, get(t, &s, quantity.ReynoldsUncertainty), 1e-12)
	w, err := water.At(42)
	if err != nil {
		t.Fatal(err)
	}
	squares := sq(in.Flow.U/in.Flow.X) + sq(in.Flow.OtherU/in.Flow.X) + sq(0.00002/0.013) +
		sq(w.KinematicU/w.KinematicViscosity) + sq(w.DLnNuDT*1.5/math.Sqrt(3)) + sq(w.DLnNuDT*0.2)
	relative(t, "u/Re", get(t, &s, quantity.ReynoldsUncertainty)/get(t, &s, quantity.Reynolds), 2*math.Sqrt(squares), 1e-9)
	if rows := p.Budget(pipe.Inputs{}); rows != nil {
		t.Errorf("a budget of nothing: %+v", rows)
	}
}

func sq(x float64) float64 { return x * x }

func TestWarningsSpeak(t *testing.T) {
	texts := map[pipe.Warnings]string{
		pipe.NotLiquid: "ice or steam", pipe.ReverseFlow: "backwards", pipe.NotDeveloped: "entrance length",
		pipe.BetweenLimits: "between the limits", pipe.NegativeLoss: "head is too small",
		pipe.Ahead.Warning(): "ahead along it: laminar friction is above", pipe.Behind.Warning(): "back along it: laminar friction is below",
		pipe.FarAhead.Warning(): "far ahead", pipe.NearStandstill.Warning(): "standstill", pipe.NotKnown.Warning(): "not known",
	}
	var all pipe.Warnings
	for flag, text := range texts {
		all |= flag
		if got := flag.String(); !strings.Contains(got, text) || strings.Contains(got, ";") {
			t.Errorf("one warning says %q, want one sentence on %q", got, text)
		}
	}
	if got := strings.Count(all.String(), ";"); got != len(texts)-1 {
		t.Errorf("%q", all)
	}
	if pipe.Warnings(0).String() != "" {
		t.Errorf("%q", pipe.Warnings(0))
	}
}
