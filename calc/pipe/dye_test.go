package pipe_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"flowrigd/calc/heat"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// warm is the bench in a room of 20 °C, watched in the middle.
func warm(o pipe.Orientation) pipe.Rig {
	rig := bench()
	rig.Outer = uncertainty.Expanded(0.016, 0.0005, 2)
	rig.WatchedAt = uncertainty.Value{X: 0.45}
	rig.Room = known(uncertainty.Expanded(20, 5, 2))
	rig.Orientation = o
	rig.ViscosityExtra = uncertainty.Limits(0, 0.001)
	return rig
}

// atRe is a state at a Reynolds number of the inlet's water.
func atRe(t testing.TB, re, celsius float64) pipe.Inputs {
	t.Helper()
	w, err := water.At(celsius)
	if err != nil {
		t.Fatal(err)
	}
	in := inputs(pipe.LimitFlow(re, 0.013, w.KinematicViscosity)*60000, celsius)
	in.Ambient = pipe.Input{}
	return in
}

// Computed independently for this project (tube of 13 mm × 900 mm, room at 20 °C, Re
// 1500): the fall, and Gr/Re of the boundary-layer computation.
func TestTubeInACoolRoom(t *testing.T) {
	for _, c := range []struct {
		o                    pipe.Orientation
		celsius, fall, ratio float64
		profile              pipe.Profile
	}{
		// The march has 10 here, on the wall's local coefficient; that of the package is the
		// mean over the tube.
		{pipe.VerticalDown, 40, 0.20, 8.45, pipe.Parabola},
		{pipe.VerticalDown, 50, 0, 26, pipe.Ahead},
		{pipe.VerticalDown, 65, 0.78, 78, pipe.FarAhead},
		{pipe.VerticalUp, 50, 0, 26, pipe.Behind},
		{pipe.VerticalUp, 65, 0.78, 78, pipe.NearStandstill},
		{pipe.Horizontal, 40, 0.25, 0, pipe.NotKnown},
		{pipe.Horizontal, 65, 0.97, 0, pipe.NotKnown},
	} {
		var s quantity.Set
		in := atRe(t, 1500, c.celsius)
		result := mustNew(t, warm(c.o)).Derive(in, &s)
		name := fmt.Sprintf("%v, %v °C: ", c.o, c.celsius)
		if c.fall != 0 {
			relative(t, name+"fall", get(t, &s, quantity.TubeTemperatureFall), c.fall, 0.02)
		}
		if c.ratio != 0 {
			relative(t, name+"Gr/Re", get(t, &s, quantity.GrashofReynoldsRatio), c.ratio, 0.15)
		}
		if result.Tube.Profile != c.profile || result.Warnings != c.profile.Warning() {
			t.Errorf("%sprofile %d, want %d; warnings %q", name, result.Tube.Profile, c.profile, result.Warnings)
		}
		// At the dye: half of the way, and a little more than half of the fall.
		at := get(t, &s, quantity.TubeTemperature)
		if part := (c.celsius - at) / get(t, &s, quantity.TubeTemperatureFall); part < 0.5 || part > 0.51 {
			t.Errorf("%s%v of the fall on half of the way", name, part)
		}
		w, _ := water.At(at)
		relative(t, name+"Re", get(t, &s, quantity.Reynolds), pipe.Reynolds(in.Flow.X, 0.013, w.KinematicViscosity), 1e-12)
		relative(t, name+"ν", get(t, &s, quantity.KinematicViscosity), w.KinematicViscosity, 1e-12)
		relative(t, name+"ρ", get(t, &s, quantity.Density), w.Density, 1e-12)
		relative(t, name+"flow to set", get(t, &s, quantity.LaminarLimitFlow), 2000*math.Pi*0.013*w.KinematicViscosity/4, 1e-12)
		if result.Tube.GrashofReynolds <= 60 {
			relative(t, name+"f", get(t, &s, quantity.FrictionFactor), 64/get(t, &s, quantity.Reynolds), 1e-12)
		}
	}
}

// Gr/Re by hand at 65 °C and 1.91 K: 9.80665 · 5.52e-4 · 1.91 · 0.013³ / (4.425e-7)² = 116000.
func TestGrashofReynolds(t *testing.T) {
	w, _ := water.At(65)
	relative(t, "Gr/Re", pipe.GrashofReynolds(&w, 1.91, 0.013, 1500), 116000./1500, 0.02)
	cold, _ := water.At(2)
	if g := pipe.GrashofReynolds(&cold, 1, 0.013, 1500); g >= 0 {
		t.Errorf("below 4 °C the colder water is the lighter: %g", g)
	}
}

// What the profile is, on both sides of each threshold, whichever way the water flows,
// the heat goes and density turns (below 4 °C cooled water is the lighter).
func TestProfiles(t *testing.T) {
	down, up, across := pipe.VerticalDown, pipe.VerticalUp, pipe.Horizontal
	for _, c := range []struct {
		o    pipe.Orientation
		size float64 // signed: heavier at the wall
		want pipe.Profile
	}{
		{down, 0, pipe.Parabola}, {down, 9.99, pipe.Parabola}, {down, 10.01, pipe.Ahead}, {down, 59.9, pipe.Ahead}, {down, 60.1, pipe.FarAhead},
		{down, -9.99, pipe.Parabola}, {down, -10.01, pipe.Behind}, {down, -59.9, pipe.Behind}, {down, -60.1, pipe.NearStandstill},
		{up, 9.99, pipe.Parabola}, {up, 10.01, pipe.Behind}, {up, 60.1, pipe.NearStandstill}, {up, -10.01, pipe.Ahead}, {up, -60.1, pipe.FarAhead},
		{across, 9.99, pipe.Parabola}, {across, 10.01, pipe.NotKnown}, {across, -60.1, pipe.NotKnown},
	} {
		if got := pipe.ProfileOf(c.o, c.size); got != c.want {
			t.Errorf("orientation %d, Gr/Re %g: %d, want %d", c.o, c.size, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		o              pipe.Orientation
		celsius, room  float64
		want, opposite pipe.Profile
	}{
		"cooled, down":              {down, 55, 20, pipe.Ahead, pipe.Behind},
		"warmed, down":              {down, 30, 60, pipe.Behind, pipe.Ahead},
		"warmed, down, below 4 °C":  {down, 1, 60, pipe.Ahead, pipe.Behind},
		"warmed, up":                {up, 30, 60, pipe.Ahead, pipe.Behind},
		"cooled, up":                {up, 55, 20, pipe.Behind, pipe.Ahead},
		"warmed, horizontal":        {across, 30, 60, pipe.NotKnown, pipe.NotKnown},
		"nobody said what room":     {down, 55, math.NaN(), pipe.ProfileUnknown, pipe.ProfileUnknown},
		"a room no one stands in":   {down, 55, 99, pipe.Ahead, pipe.Ahead}, // the assumed 20 °C stands
		"the room is as warm as it": {down, 20, 20, pipe.Parabola, pipe.Parabola},
	} {
		rig := warm(c.o)
		re := 1500.0
		if strings.HasPrefix(name, "warmed") {
			re, rig.FlowMin = 900, 0
		}
		if strings.Contains(name, "below 4") {
			re, rig.FlowMin, rig.Bore.X, rig.Outer.X = 200, 0, 0.02, 0.023
		}
		if math.IsNaN(c.room) {
			rig.Room = pipe.Input{}
		}
		in := atRe(t, re, c.celsius)
		in.Ambient = known(uncertainty.Value{X: c.room})
		var s quantity.Set
		result := mustNew(t, rig).Derive(in, &s)
		if result.Tube.Profile != c.want || c.want != c.opposite && result.Warnings.Has(c.opposite.Warning()) {
			t.Errorf("%s: profile %d, want %d (Gr/Re %g, %q)", name, result.Tube.Profile, c.want, result.Tube.GrashofReynolds, result.Warnings)
		}
	}
}

// Gr/Re is told of a turbulent flow too; its profile is no matter of it.
func TestTurbulentHasNoProfile(t *testing.T) {
	var s quantity.Set
	rig := warm(pipe.VerticalDown)
	rig.LaminarBelow, rig.TurbulentAbove = 900, 1000
	result := mustNew(t, rig).Derive(atRe(t, 1500, 65), &s)
	if get(t, &s, quantity.GrashofReynoldsRatio) < 10 || result.Tube.Profile != pipe.ProfileUnknown || result.Warnings != 0 {
		t.Errorf("%+v, %q", result.Tube, result.Warnings)
	}
	get(t, &s, quantity.FrictionFactor)
}

// Friction and the length in which a parabola develops are told up to Gr/Re 60 and not
// above; the reason stands in the warnings.
func TestFrictionIsWithheld(t *testing.T) {
	for _, o := range []pipe.Orientation{pipe.VerticalDown, pipe.VerticalUp, pipe.Horizontal} {
		rig := warm(o)
		rig.FlowMin = 0
		p := mustNew(t, rig)
		for re := 400.0; re < 2000; re += 20 {
			var s quantity.Set
			result := p.Derive(atRe(t, re, 60), &s)
			ratio := get(t, &s, quantity.GrashofReynoldsRatio)
			for _, id := range []quantity.ID{quantity.FrictionFactor, quantity.EntranceLength, quantity.Developed} {
				if _, told := s.Get(id); told != (ratio <= 60) || !told && result.Warnings == 0 {
					t.Errorf("orientation %d, Gr/Re %g: %s told %v, warnings %q", o, ratio, id.Name(), told, result.Warnings)
				}
			}
			if ratio > 60 && result.Warnings.Has(pipe.NotDeveloped) {
				t.Errorf("orientation %d, Gr/Re %g: measured by an entrance length that is not told", o, ratio)
			}
			get(t, &s, quantity.LossCoefficient)
			get(t, &s, quantity.LossCoefficientUncertainty)
		}
	}
}

// Without flow, and without knowing the room or the tube's outer diameter, nothing is
// said of the heat, and Re is that of the inlet.
func TestNoHeatKnown(t *testing.T) {
	none := []quantity.ID{quantity.TubeTemperature, quantity.TubeTemperatureFall, quantity.GrashofReynoldsRatio}
	w, _ := water.At(65)
	for name, change := range map[string]func(*pipe.Rig, *pipe.Inputs){
		"no room":    func(r *pipe.Rig, _ *pipe.Inputs) { r.Room.Known = false },
		"no outer":   func(r *pipe.Rig, _ *pipe.Inputs) { r.Outer = uncertainty.Value{} },
		"no flow":    func(_ *pipe.Rig, in *pipe.Inputs) { in.Flow = litres(0) },
		"flow gone":  func(_ *pipe.Rig, in *pipe.Inputs) { in.Flow = pipe.Input{} },
		"backwards":  func(_ *pipe.Rig, in *pipe.Inputs) { in.Flow = litres(-2) },
		"at the way": func(r *pipe.Rig, _ *pipe.Inputs) { r.WatchedAt.X = 0 },
	} {
		rig, in := warm(pipe.VerticalDown), atRe(t, 1500, 65)
		change(&rig, &in)
		var s quantity.Set
		mustNew(t, rig).Derive(atRe(t, 1500, 65), &s) // nothing of it may stay
		mustNew(t, rig).Derive(in, &s)
		relative(t, name+": ν", get(t, &s, quantity.KinematicViscosity), w.KinematicViscosity, 1e-12)
		if name != "at the way" {
			unknown(t, &s, none...)
		}
	}
}

// A trickle has taken on the room's temperature; nothing is not a number.
func TestTrickle(t *testing.T) {
	rig := warm(pipe.VerticalDown)
	rig.FlowMin = 0
	for _, flow := range []float64{1e-15, 1e-12, 1e-9} {
		in := atRe(t, 1500, 65)
		in.Flow = known(uncertainty.Limits(flow, flow/100))
		var s quantity.Set
		result := mustNew(t, rig).Derive(in, &s)
		relative(t, "tube", get(t, &s, quantity.TubeTemperature), 20, 1e-4)
		get(t, &s, quantity.Reynolds)
		get(t, &s, quantity.ReynoldsUncertainty)
		get(t, &s, quantity.GrashofReynoldsRatio)
		if u, known := result.U.Get(quantity.TubeTemperature); !known || math.Abs(u-2.5) > 0.05 {
			t.Errorf("u of a tube as warm as its room, known to 2.5 K: %g", u)
		}
	}
	// A trickle that would freeze is no water.
	rig.Room = known(uncertainty.Value{X: -10})
	in := atRe(t, 1500, 20)
	in.Flow = known(uncertainty.Limits(1e-12, 1e-14))
	var s quantity.Set
	if r := mustNew(t, rig).Derive(in, &s); !r.Warnings.Has(pipe.NotLiquid) {
		t.Errorf("ice: %q", r.Warnings)
	}
	unknown(t, &s, quantity.Reynolds, quantity.LaminarLimitFlow)
}

// Every input by JCGM 100:2008, 5.1.3, note 2: moved by its standard uncertainty either
// way. Correlation and draught are calc/heat's, held there.
func TestUncertaintyAtTheDye(t *testing.T) {
	const uFlow, uFlowExtra, uCelsius, uLag, uWay, uMeter = 0.01, 0.004, 0.3, 0.2, 0.1, 1.5 // flow relative
	for _, celsius := range []float64{65, 8} {
		type move struct{ flow, celsius, way, meter, bore, outer, room, watched float64 }
		play := func(m move) (s quantity.Set, result pipe.Result) {
			rig := warm(pipe.VerticalDown)
			rig.Outer, rig.WatchedAt.U = uncertainty.Value{X: 0.016 + m.outer, U: 5e-4}, 0.03
			rig.Bore.X += m.bore
			rig.WatchedAt.X += m.watched
			in := atRe(t, 1500, celsius)
			in.Flow = pipe.Input{Value: uncertainty.Value{X: in.Flow.X * (1 + m.flow), U: uFlow * in.Flow.X}, OtherU: uFlowExtra * in.Flow.X, Known: true}
			in.Temperature = pipe.Input{Value: uncertainty.Value{X: celsius + m.celsius, U: uCelsius}, OtherU: uLag, Known: true}
			in.Ambient = known(uncertainty.Value{X: 20 + m.room, U: 2})
			in.Meter = known(uncertainty.Value{X: 30 + m.meter, U: uMeter})
			in.OnTheWay = uncertainty.Value{X: 0.05 + m.way, U: uWay}
			result = mustNew(t, rig).Derive(in, &s)
			return s, result
		}
		moves := []move{{flow: uFlow}, {flow: uFlowExtra}, {celsius: uCelsius}, {celsius: uLag}, {way: uWay}, {meter: uMeter},
			{bore: bench().Bore.U}, {outer: 5e-4}, {room: 2}, {watched: 0.03}}
		s, result := play(move{})
		w, _ := water.At(get(t, &s, quantity.TubeTemperature))
		formula := math.Hypot(w.KinematicU/w.KinematicViscosity, 0.001/math.Sqrt(3))
		for _, id := range []quantity.ID{quantity.Reynolds, quantity.TubeTemperature, quantity.KinematicViscosity, quantity.TubeTemperatureFall} {
			v, place := get(t, &s, id), 0.45
			if id == quantity.TubeTemperatureFall {
				place = 0.9
			}
			sum := 0.0
			for _, m := range moves {
				up, _ := play(m)
				down, _ := play(move{-m.flow, -m.celsius, -m.way, -m.meter, -m.bore, -m.outer, -m.room, -m.watched})
				sum += sq((get(t, &up, id) - get(t, &down, id)) / 2)
			}
			still := convectionU(t, celsius, place)
			if id == quantity.Reynolds || id == quantity.KinematicViscosity {
				sum += sq(v*formula) + sq(v*w.DLnNuDT*still)
			} else {
				sum += sq(still)
			}
			u, _ := result.U.Get(id)
			relative(t, fmt.Sprintf("%g °C: u(%s)", celsius, id.Name()), u, math.Sqrt(sum), 0.01)
		}
	}
}

// convectionU is what correlation and draught leave open of the fall on a way, K.
func convectionU(t *testing.T, celsius, way float64) float64 {
	t.Helper()
	tube := heat.Tube{Bore: uncertainty.Value{X: 0.013}, Outer: uncertainty.Value{X: 0.016}, Length: uncertainty.Value{X: 0.9}, Vertical: true}
	wall, err := heat.New(tube)
	if err != nil {
		t.Fatal(err)
	}
	w, _ := water.At(celsius)
	e := wall.Exchange(heat.Stream{Water: &w, Celsius: celsius, Room: 20, Flow: pipe.LimitFlow(1500, 0.013, w.KinematicViscosity)})
	f := e.Fall(way)
	return wall.OwnU(&f, 0, 0)
}

// The budget has a row for each part that somebody gave, and its rows combine to u(Re).
func TestBudgetAtTheDye(t *testing.T) {
	in := atRe(t, 1500, 65)
	in.Flow.OtherU, in.Temperature.OtherU = 1e-8, 0.1
	in.Meter, in.OnTheWay = known(uncertainty.Limits(40, 2)), uncertainty.Value{X: 0.1, U: 0.05}
	p := mustNew(t, warm(pipe.VerticalDown))
	var s quantity.Set
	result := p.Derive(in, &s)
	rows := p.Budget(in)
	var names []string
	for _, row := range rows {
		names = append(names, row.Name)
	}
	if got := strings.Join(names, ", "); got != "flow, flow, further, water in the meter, bore, temperature, temperature, further, heat lost, time on the way, viscosity formula, hardness and dye" {
		t.Errorf("rows: %s", got)
	}
	relative(t, "2u", 2*uncertainty.Combine(rows...).U, get(t, &s, quantity.ReynoldsUncertainty), 1e-12)
	relative(t, "heat lost", rows[6].X, 65+0.1-result.Tube.Celsius, 1e-9)
	in.Ambient = known(uncertainty.Value{X: -15})
	in.Flow, in.Temperature = known(uncertainty.Value{X: 1e-12, U: 1e-14}), known(uncertainty.Value{X: 1, U: 0.1})
	rig := warm(pipe.VerticalDown)
	rig.FlowMin = 0
	if rows := mustNew(t, rig).Budget(in); rows != nil {
		t.Errorf("a budget of ice: %v", rows)
	}
}

// A Monte Carlo after JCGM 101 of the inputs: Re at the dye with everything drawn, the
// draught as calc/heat has it. u against its root mean square about the stated value,
// the probabilities against the shares.
func TestReAtTheDyeAgainstSimulation(t *testing.T) {
	const draws = 100_000
	for _, re := range []float64{1990, 2030} {
		rig, in := warm(pipe.Horizontal), atRe(t, re, 65)
		rig.Bore = uncertainty.Value{X: 0.013, U: 1e-5}
		in.Flow, in.Temperature = known(uncertainty.Limits(in.Flow.X, 0.002*in.Flow.X)), known(uncertainty.Limits(65, 0.1))
		in.OnTheWay = uncertainty.Value{U: 0.1}
		p := mustNew(t, rig)
		var s quantity.Set
		p.Derive(in, &s)
		stated := get(t, &s, quantity.Reynolds)
		random := rand.New(rand.NewPCG(9, 10))
		var squares float64
		drawn := make([]float64, draws)
		for i := range drawn {
			drawn[i] = drawAtDye(random, p, rig, in)
			squares += sq(drawn[i] - stated)
		}
		slices.Sort(drawn)
		relative(t, "u", get(t, &s, quantity.ReynoldsUncertainty)/2, math.Sqrt(squares/draws), 0.02)
		// The draught's mean is not corrected for, and its part is taken as symmetric: a
		// probability may be off by what half of it moves Re.
		if d := math.Abs(get(t, &s, quantity.ProbabilityBelow) - float64(position(drawn, 2000))/draws); d > 0.1 {
			t.Errorf("Re %g: the probability is off by %g", re, d)
		}
	}
}

func drawAtDye(random *rand.Rand, p *pipe.Pipe, rig pipe.Rig, in pipe.Inputs) float64 {
	q, t, bore := drawInput(random, in.Flow), drawInput(random, in.Temperature), drawInput(random, pipe.Input{Value: rig.Bore})
	w, _ := water.At(t)
	outer, room := drawInput(random, pipe.Input{Value: rig.Outer}), drawInput(random, rig.Room)
	wall, _ := heat.New(heat.Tube{Bore: uncertainty.Value{X: bore}, Outer: uncertainty.Value{X: outer}, Length: rig.Length})
	e := wall.Exchange(heat.Stream{Water: &w, Celsius: t, Room: room, Flow: q})
	f := e.Fall(0.45)
	fall := f.Kelvin + f.Convection*(0.15*(2*random.Float64()-1)+random.Float64())
	dye, _ := water.At(t - fall + in.OnTheWay.U*random.NormFloat64())
	nu := dye.KinematicViscosity*(1+0.001*(2*random.Float64()-1)) + dye.KinematicU*random.NormFloat64()
	return pipe.Reynolds(q, bore, nu)
}

// The mass is the same: 998.2065 and 983.1953 kg/m³ at 20 and 60 °C (SR6-08 by
// python3-iapws). A meter no warmer than the tube changes nothing.
func TestWaterInTheMeter(t *testing.T) {
	in := inputs(1, 60)
	p := mustNew(t, bench())
	var same, other quantity.Set
	p.Derive(in, &same)
	in.Meter = known(uncertainty.Value{X: 60})
	p.Derive(in, &other)
	relative(t, "same water", get(t, &other, quantity.Reynolds), get(t, &same, quantity.Reynolds), 1e-12)
	in.Meter = known(uncertainty.Value{X: 20})
	p.Derive(in, &other)
	relative(t, "Re", get(t, &other, quantity.Reynolds)/get(t, &same, quantity.Reynolds), 998.2065/983.1953, 1e-6)
	relative(t, "v", get(t, &other, quantity.Velocity)/get(t, &same, quantity.Velocity), 998.2065/983.1953, 1e-6)
	for _, bad := range []pipe.Input{{}, known(uncertainty.Value{X: -1}), known(uncertainty.Value{X: 101}), known(uncertainty.Value{X: math.NaN()})} {
		in.Meter = bad
		p.Derive(in, &other)
		relative(t, "no water in the meter", get(t, &other, quantity.Reynolds), get(t, &same, quantity.Reynolds), 1e-12)
	}
}

// Three passages and the viscous time, by hand for 0.1 m/s at 20 °C: 27 s and 7.28 s; on
// the way to the middle the water is 4.5 s.
func TestSettling(t *testing.T) {
	rig := warm(pipe.VerticalDown)
	p := mustNew(t, rig)
	flow := 0.1 * math.Pi * 0.013 * 0.013 / 4
	relative(t, "settling", p.Settling(flow, 1.00336675626e-6), 27+0.0065*0.0065/5.783/1.00336675626e-6, 1e-9)
	relative(t, "to the dye", rig.WatchedAt.X/p.Velocity(flow), 4.5, 1e-9)
	relative(t, "first zero of J0, squared", 5.783, 2.404825557695773*2.404825557695773, 1e-4)
	if s := p.Settling(0, 1e-6); !math.IsInf(s, 1) {
		t.Errorf("without flow: %g", s)
	}
	if s := p.Settling(-1, 1e-6); !math.IsInf(s, 1) {
		t.Errorf("backwards: %g", s)
	}
	var set quantity.Set
	in := inputs(1, 20)
	in.Ambient = known(uncertainty.Value{X: 20})
	relative(t, "of the state", p.Derive(in, &set).Settling, p.Settling(1./60000, get(t, &set, quantity.KinematicViscosity)), 1e-12)
}

func TestNewRefusesSurroundings(t *testing.T) {
	for _, c := range []struct {
		says   string
		change func(*pipe.Rig)
	}{
		{"outer: 0.012 m", func(r *pipe.Rig) { r.Outer.X = 0.012 }},
		{"watched_at: 0.901 m", func(r *pipe.Rig) { r.WatchedAt.X = 0.901 }},
		{"watched_at: -0.1 m", func(r *pipe.Rig) { r.WatchedAt.X = -0.1 }},
		{"room: 61 °C", func(r *pipe.Rig) { r.Room.X = 61 }},
		{"room: -21 °C", func(r *pipe.Rig) { r.Room.X = -21 }},
		{"viscosity_extra", func(r *pipe.Rig) { r.ViscosityExtra.U = 0.51 }},
		{"viscosity_extra", func(r *pipe.Rig) { r.ViscosityExtra.U = -0.01 }},
	} {
		rig := warm(pipe.VerticalDown)
		c.change(&rig)
		if p, err := pipe.New(rig); err == nil || p != nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
	}
	for _, change := range []func(*pipe.Rig){
		func(r *pipe.Rig) { r.WatchedAt.X = r.Length.X }, func(r *pipe.Rig) { r.Room.X = 60 }, func(r *pipe.Rig) { r.Room.X = -20 },
		func(r *pipe.Rig) { r.ViscosityExtra.U = 0.5 }, func(r *pipe.Rig) { r.Room = pipe.Input{Value: uncertainty.Value{X: 999}} },
	} {
		rig := warm(pipe.VerticalDown)
		change(&rig)
		mustNew(t, rig)
	}
}

// What is not known of the flow is not known of the fall, by the slope of the one with
// the other.
func TestFlowInTheUncertaintyOfTheFall(t *testing.T) {
	p := mustNew(t, warm(pipe.VerticalDown))
	fall := func(by, relativeU float64) (kelvin, u float64) {
		var s quantity.Set
		in := atRe(t, 1500, 65)
		in.Flow.X *= 1 + by
		in.Flow.U = relativeU * in.Flow.X
		result := p.Derive(in, &s)
		u, _ = result.U.Get(quantity.TubeTemperatureFall)
		return get(t, &s, quantity.TubeTemperatureFall), u
	}
	const relativeU = 0.2
	high, _ := fall(0.01, 0)
	low, _ := fall(-0.01, 0)
	_, without := fall(0, 0)
	_, with := fall(0, relativeU)
	relative(t, "the flow's part", math.Sqrt(sq(with)-sq(without)), math.Abs(high-low)/0.02*relativeU, 0.02)
}
