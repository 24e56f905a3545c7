package pipe_test

import (
	"math"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
)

// Every uncertainty that a state carries against JCGM 100:2008, 5.1.3, note 2: each
// input moved by its standard uncertainty either way, half the differences squared
// and summed. What the formulas themselves are off by is added as stated.
func TestStatedUncertainties(t *testing.T) {
	const uFlow, uCelsius, uLevel = 0.02 / 60000, 0.3, 0.0008
	for _, c := range []struct{ perMinute, celsius float64 }{{0.8, 20}, {1.2, 65}, {5, 20}, {7, 60}} {
		stated := func(flow, celsius, level, bore, drop float64) pipe.Inputs {
			in := inputs(c.perMinute+flow*60000, c.celsius+celsius)
			in.Flow.U, in.Flow.OtherU = uFlow, 0
			in.Temperature.U, in.Temperature.OtherU = uCelsius, 0
			in.Level.U, in.Level.OtherU = uLevel, 0
			in.Level.X += level
			return in
		}
		play := func(flow, celsius, level, bore, drop float64) (quantity.Set, pipe.Result) {
			rig := bench()
			rig.Bore.X += bore
			rig.Drop.X += drop
			var s quantity.Set
			r := mustNew(t, rig).Derive(stated(flow, celsius, level, bore, drop), &s)
			return s, r
		}
		s, result := play(0, 0, 0, 0, 0)
		w, err := water.At(c.celsius)
		if err != nil {
			t.Fatal(err)
		}
		moves := [...][5]float64{{uFlow}, {0, uCelsius}, {0, 0, uLevel}, {0, 0, 0, bench().Bore.U}, {0, 0, 0, 0, bench().Drop.U}}
		for _, id := range []quantity.ID{
			quantity.Density, quantity.DynamicViscosity, quantity.KinematicViscosity, quantity.Velocity,
			quantity.Reynolds, quantity.Head, quantity.LaminarLimitFlow, quantity.TurbulentLimitFlow,
		} {
			var sum float64
			for _, m := range moves {
				up, _ := play(m[0], m[1], m[2], m[3], m[4])
				down, _ := play(-m[0], -m[1], -m[2], -m[3], -m[4])
				a, _ := up.Get(id)
				b, _ := down.Get(id)
				sum += (a - b) * (a - b) / 4
			}
			v := get(t, &s, id)
			if id != quantity.Density && id != quantity.Velocity && id != quantity.Head {
				sum += math.Pow(v*w.KinematicU/w.KinematicViscosity, 2) // of the formula, as calc/water has it from IAPWS SR6-08
			}
			u, known := result.U.Get(id)
			if !known || math.Abs(u/math.Sqrt(sum)-1) > 0.01 {
				t.Errorf("%g L/min, %g °C: u(%s) = %v, %v; moving the inputs gives %v", c.perMinute, c.celsius, id.Name(), u, known, math.Sqrt(sum))
			}
		}
		for _, e := range [...][2]quantity.ID{{quantity.Reynolds, quantity.ReynoldsUncertainty}, {quantity.LossCoefficient, quantity.LossCoefficientUncertainty}} {
			u, known := result.U.Get(e[0])
			expanded, told := s.Get(e[1])
			if known != told || known && math.Abs(2*u-expanded) > 1e-12*expanded {
				t.Errorf("%s: u %v, expanded %v", e[0].Name(), u, expanded)
			}
		}
	}
}
