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
		k, _ := uncertainty.Sample(ks)
		relative(t, "u(K)", get(t, &s, quantity.LossCoefficientUncertainty)/2, k.U*math.Sqrt(draws), 0.012)
		relative(t, "K", get(t, &s, quantity.LossCoefficient), k.X, 0.01)
	}
}

func drawLoss(random *rand.Rand, rig pipe.Rig, in pipe.Inputs, band quantity.Band) float64 {
	draw := func(v uncertainty.Value) float64 { return drawInput(random, pipe.Input{Value: v}) }
	w, _ := water.At(drawInput(random, in.Temperature))
	nu := w.KinematicViscosity + w.KinematicU*random.NormFloat64()
	q, d, length := drawInput(random, in.Flow), draw(rig.Bore), draw(rig.Length)
	head := drawInput(random, in.Level) + draw(rig.Drop)
	k, friction := lossOf(band, q, d, length, draw(rig.Roughness), nu, head)
	if band == quantity.Turbulent {
		k -= friction * 0.01 * random.NormFloat64()
	}
	return k
}

// lossOf is the energy equation, H = v²/2g·(α + K + f·L/D), and its part f·L/D.
func lossOf(band quantity.Band, q, d, length, roughness, nu, head float64) (k, friction float64) {
	v, re := pipe.Velocity(q, d), pipe.Reynolds(q, d, nu)
	alpha, f := 2.0, 64/re
	if band == quantity.Turbulent {
		alpha, f = 1.06, pipe.Colebrook(re, roughness/d)
	}
	return head*2*pipe.Gravity/(v*v) - alpha - f*length/d, f * length / d
}

// Each input of the loss coefficient alone, by JCGM 100:2008, 5.1.2, with the slopes
// of the energy equation taken from differences. A long tube under a small head, so
// that the friction's part is not lost beside the head's.
func TestEachPartOfTheLossUncertainty(t *testing.T) {
	const flow, bore, length, roughness, nu, head = 0, 1, 2, 3, 4, 5
	cooler, _ := water.At(19.5)
	warmer, _ := water.At(20.5)
	perKelvin := cooler.KinematicViscosity - warmer.KinematicViscosity
	for _, c := range []struct{ perMinute, drop float64 }{{0.5, -0.15}, {5, 2.75}} {
		for name, give := range map[string]func(rig *pipe.Rig, in *pipe.Inputs) (of int, u float64){
			"flow": func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) { in.Flow.U = in.Flow.X / 100; return flow, in.Flow.U },
			"pulses": func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) {
				in.Flow.OtherU = in.Flow.X / 100
				return flow, in.Flow.OtherU
			},
			"bore":        func(rig *pipe.Rig, _ *pipe.Inputs) (int, float64) { rig.Bore.U = 1e-4; return bore, 1e-4 },
			"length":      func(rig *pipe.Rig, _ *pipe.Inputs) (int, float64) { rig.Length.U = 0.1; return length, 0.1 },
			"roughness":   func(rig *pipe.Rig, _ *pipe.Inputs) (int, float64) { rig.Roughness.U = 5e-6; return roughness, 5e-6 },
			"temperature": func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) { in.Temperature.U = 1; return nu, perKelvin },
			"lag":         func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) { in.Temperature.OtherU = 1; return nu, perKelvin },
			"level":       func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) { in.Level.U = 1e-3; return head, 1e-3 },
			"ripple":      func(_ *pipe.Rig, in *pipe.Inputs) (int, float64) { in.Level.OtherU = 1e-3; return head, 1e-3 },
			"drop":        func(rig *pipe.Rig, _ *pipe.Inputs) (int, float64) { rig.Drop.U = 1e-3; return head, 1e-3 },
		} {
			rig, in := bench(), inputs(c.perMinute, 20)
			rig.Bore, rig.Length, rig.Roughness = uncertainty.Value{X: 0.013}, uncertainty.Value{X: 20}, uncertainty.Value{X: 5e-5}
			rig.Drop, in.Level.U, in.Flow.U, in.Temperature.U = uncertainty.Value{X: c.drop}, 0, 0, 0
			w, _ := water.At(20)
			x := [...]float64{in.Flow.X, 0.013, 20, 5e-5, w.KinematicViscosity, in.Level.X + c.drop}
			of, u := give(&rig, &in)
			var s quantity.Set
			mustNew(t, rig).Derive(in, &s)
			at := func(i int, by float64) (k, friction float64) {
				y := x
				y[i] *= 1 + by
				return lossOf(s.Band(), y[0], y[1], y[2], y[3], y[4], y[5])
			}
			part := func(i int, u float64) float64 {
				high, _ := at(i, 1e-4)
				low, _ := at(i, -1e-4)
				return (high - low) / 2e-4 / x[i] * u
			}
			want := math.Hypot(part(of, u), part(nu, w.KinematicU))
			if s.Band() == quantity.Turbulent {
				_, friction := at(0, 0)
				want = math.Hypot(want, 0.01*friction)
			}
			relative(t, name+" "+s.Band().String(), get(t, &s, quantity.LossCoefficientUncertainty)/2, want, 0.002)
		}
	}
}

// A smooth wall has no relative uncertainty, and none is made of it.
func TestLossOfASmoothTube(t *testing.T) {
	rig, in := bench(), inputs(5, 20)
	rig.Roughness, rig.Drop = uncertainty.Value{U: 1e-6}, uncertainty.Value{X: 2.75}
	var s quantity.Set
	p := mustNew(t, rig)
	p.Derive(in, &s)
	if u := get(t, &s, quantity.LossCoefficientUncertainty); math.IsNaN(u) || math.IsInf(u, 0) || u <= 0 {
		t.Errorf("U of the loss coefficient is %v", u)
	}
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
