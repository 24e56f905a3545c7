package pipe_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// The oracle is a simulation of the energy equation with all inputs drawn, the
// friction's own 1 % in the turbulent band included.
func TestLossUncertainty(t *testing.T) {
	const draws = 60_000
	for _, c := range []struct{ perMinute, celsius float64 }{{0.5, 20}, {1.1, 20}, {5, 20}, {12, 20}, {0.5, 60}, {12, 65}} {
		rig, in := bench(), inputs(c.perMinute, c.celsius)
		rig.Roughness = uncertainty.Value{X: 5e-5, U: 5e-6}
		rig.Drop = uncertainty.Expanded(0.4, 0.002, 2)
		var s quantity.Set
		mustNew(t, rig).Derive(in, &s)
		random := rand.New(rand.NewPCG(5, 6))
		ks := make([]float64, draws)
		for i := range ks {
			ks[i] = drawLoss(random, rig, in, s.Band())
		}
		sd := math.Sqrt(uncertainty.CovarianceOfMeans(ks, ks) * draws)
		relative(t, "u(K)", get(t, &s, quantity.LossCoefficientUncertainty)/2, sd, 0.012)
		relative(t, "K", get(t, &s, quantity.LossCoefficient), uncertainty.Mean(ks), 0.01)
	}
}

func drawLoss(random *rand.Rand, rig pipe.Rig, in pipe.Inputs, band quantity.Band) float64 {
	draw := func(v uncertainty.Value) float64 { return drawInput(random, pipe.Input{Value: v}) }
	w, _ := water.At(drawInput(random, in.Temperature))
	nu := w.KinematicViscosity + w.KinematicU*random.NormFloat64()
	q, d, length := drawInput(random, in.Flow), draw(rig.Bore), draw(rig.Length)
	head := drawInput(random, in.Level) + draw(rig.Drop)
	v, re := pipe.Velocity(q, d), pipe.Reynolds(q, d, nu)
	alpha, f := 2.0, 64/re
	if band == quantity.Turbulent {
		alpha, f = 1.06, pipe.Colebrook(re, draw(rig.Roughness)/d)*(1+0.01*random.NormFloat64())
	}
	return head*2*pipe.Gravity/(v*v) - alpha - f*length/d
}

// α is the mean of (u/ū)³ over the section: of the parabola in laminar flow, of
// u ~ y^(1/7) in turbulent flow (1.058; 0.2 % of it is the rounding to 1.06).
func TestKineticEnergyFactors(t *testing.T) {
	for _, c := range []struct {
		perMinute float64
		profile   func(r float64) float64
	}{
		{0.5, func(r float64) float64 { return 1 - r*r }},
		{5, func(r float64) float64 { return math.Pow(1-r, 1./7) }},
	} {
		const rings = 100_000
		var mean, cubes float64
		for i := range rings {
			r := (float64(i) + 0.5) / rings
			mean += c.profile(r) * 2 * r / rings
			cubes += math.Pow(c.profile(r), 3) * 2 * r / rings
		}
		var s quantity.Set
		mustNew(t, bench()).Derive(inputs(c.perMinute, 20), &s)
		v := get(t, &s, quantity.Velocity)
		alpha := 2*pipe.Gravity*get(t, &s, quantity.Head)/(v*v) - get(t, &s, quantity.FrictionFactor)*0.9/0.013 - get(t, &s, quantity.LossCoefficient)
		relative(t, "α", alpha, cubes/(mean*mean*mean), 0.002)
	}
}

// A head too small for the flow gives a negative coefficient, and a warning.
func TestNegativeLossWarns(t *testing.T) {
	rig := bench()
	rig.Drop = uncertainty.Value{X: -0.2}
	var s quantity.Set
	result := mustNew(t, rig).Derive(inputs(12, 20), &s)
	if k := get(t, &s, quantity.LossCoefficient); k >= 0 || !result.Warnings.Has(pipe.NegativeLoss) {
		t.Errorf("K = %v, warnings %q", k, result.Warnings)
	}
	rig.Drop = uncertainty.Value{X: -0.3}
	mustNew(t, rig).Derive(inputs(12, 20), &s)
	unknown(t, &s, quantity.LossCoefficient, quantity.LossCoefficientUncertainty)
}

// Hand computation, with water at 60 °C from the shared library values:
// k = 0.654 W/(m K) gives h = 184 W/(m² K) inside against 10 outside.
func TestBuoyancy(t *testing.T) {
	w, err := water.At(60)
	if err != nil {
		t.Fatal(err)
	}
	difference := pipe.WallDifference(&w, 0.013, 60, 20)
	relative(t, "wall", difference, 40*10/(10+3.66*0.651/0.013), 0.01)
	ri := pipe.Richardson(pipe.VerticalDown, w.Expansion, difference, 0.013, 0.1)
	relative(t, "Ri", ri, 9.80665*5.23e-4*difference*0.013/0.01, 0.01)
	if up := pipe.Richardson(pipe.VerticalUp, w.Expansion, difference, 0.013, 0.1); up != -ri {
		t.Errorf("upwards %v, downwards %v", up, ri)
	}
	if across := pipe.Richardson(pipe.Horizontal, w.Expansion, -difference, 0.013, 0.1); across != ri {
		t.Errorf("horizontal %v, want %v", across, ri)
	}
	// 10·π·0.013·0.9 = 0.3676 W/K against 983.2·1.6667e-5·4185 = 68.6 W/K.
	relative(t, "cooling", pipe.Cooling(&w, 0.013, 0.9, 1./60000, 60, 20), 40*(1-math.Exp(-0.3676/68.58)), 0.001)
}

func TestMixedConvectionWarns(t *testing.T) {
	rig := bench()
	rig.FlowMin = 0.02 / 60000
	p := mustNew(t, rig)
	var s quantity.Set
	slow, fast := p.Derive(inputs(0.1, 65), &s), p.Derive(inputs(5, 65), &s)
	if !slow.Warnings.Has(pipe.MixedConvection) || fast.Warnings.Has(pipe.MixedConvection) {
		t.Errorf("slow %v (%v), fast %v (%v)", slow.Warnings, slow.Richardson, fast.Warnings, fast.Richardson)
	}
	in := inputs(0.1, 65)
	in.Ambient = pipe.Input{}
	if r := p.Derive(in, &s); !math.IsNaN(r.Richardson) || !math.IsNaN(r.Cooling) || r.Warnings.Has(pipe.MixedConvection) {
		t.Errorf("without the room's temperature: %+v", r)
	}
}
