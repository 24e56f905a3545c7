package pipe

import (
	"math"
	"testing"

	"flowrigd/calc/uncertainty"
)

// measuredRig is a tube of 13.00 ± 0.02 mm (u) and 900 ± 1 mm (u).
func measuredRig(t *testing.T, o Orientation) *Pipe {
	t.Helper()
	p, err := New(Rig{
		Bore: uncertainty.Value{X: 0.013, U: 2e-5}, Length: uncertainty.Value{X: 0.9, U: 0.001}, Drop: uncertainty.Value{X: 1.1},
		Orientation: o, LaminarBelow: 2000, TurbulentAbove: 4000, FlowMin: 1e-6,
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// By hand: 3 L/min through 13 mm is 0.376704 m/s; 300 Pa over 0.9 m in water of 998.2
// kg/m³ is f = 300·2·0.013/(998.2·0.141906·0.9) = 0.061183. With u(Δp) = 3 Pa (1 %),
// u(Q) = 0.5 %, u(D)/D = 0.1538 %, u(L)/L = 0.1111 %, u(ρ)/ρ = 0.02 %: √(1² + 1² + 0.7692² +
// 0.1111² + 0.02²) % = 1.6152 %.
func TestMeasuredFriction(t *testing.T) {
	d := Drop{
		Pressure: Input{Value: uncertainty.Value{X: 300, U: 3}, Known: true},
		Flow:     Input{Value: uncertainty.Value{X: 5e-5, U: 2.5e-7}, Known: true},
		Density:  uncertainty.Value{X: 998.2, U: 0.19964},
		Room:     uncertainty.Value{X: 20, U: 2.5},
	}
	f, ok := measuredRig(t, Horizontal).MeasuredFriction(d)
	if !ok || math.Abs(f.X/0.061183-1) > 1e-4 || math.Abs(f.U/f.X/0.016152-1) > 1e-3 {
		t.Errorf("horizontal: f = %v, u/f = %v, %v", f.X, f.U/f.X, ok)
	}
	// 42 °C in the tube, 991.44 kg/m³, legs of 20 °C, 998.207 (IAPWS SR6-08): 6.767·g·0.9
	// = 59.73 Pa are taken off downward and added upward. f per Pa is 0.061183/300·998.2/991.44.
	d.Density.X = 991.44
	perPascal := 0.061183 / 300 * 998.2 / 991.44
	for o, want := range map[Orientation]float64{VerticalDown: 240.27, VerticalUp: 359.73, Horizontal: 300} {
		f, ok := measuredRig(t, o).MeasuredFriction(d)
		if !ok || math.Abs(f.X/(want*perPascal)-1) > 2e-4 {
			t.Errorf("orientation %d: f = %v, want %v", o, f.X, want*perPascal)
		}
		// The legs: 2.5 K at 2.07e-4/K of 998.2 are 0.516 kg/m³, 4.56 Pa; the water's
		// own 0.19964 kg/m³ 1.762 Pa, with its part in ρ.
		if o == VerticalDown {
			r := math.Sqrt(3*3+4.56*4.56)/240.27*100 + 0
			own := (1.7620/240.27 - 0.19964/991.44) * 100
			length := (59.73/240.27 + 1) * 0.11111
			all := math.Sqrt(r*r + own*own + length*length + 0.7692*0.7692 + 1)
			if math.Abs(f.U/f.X*100/all-1) > 3e-3 {
				t.Errorf("downward: u/f = %v %%, want %v %%", f.U/f.X*100, all)
			}
		}
	}
}

// Without flow, within its own doubt, below zero or with an unknown reading there is none.
func TestNoMeasuredFriction(t *testing.T) {
	at := func(pa, u, flow float64, known bool) bool {
		_, ok := measuredRig(t, Horizontal).MeasuredFriction(Drop{
			Pressure: Input{Value: uncertainty.Value{X: pa, U: u}, Known: known},
			Flow:     Input{Value: uncertainty.Value{X: flow}, Known: true},
			Density:  uncertainty.Value{X: 998.2},
		})
		return ok
	}
	for _, c := range []struct {
		name        string
		pa, u, flow float64
		known, want bool
	}{
		{"more than its doubt", 20.1, 10, 5e-5, true, true},
		{"within its doubt", 19.9, 10, 5e-5, true, false},
		{"below zero", -20, 0, 5e-5, true, false},
		{"below zero, its doubt never stated", -20, math.NaN(), 5e-5, true, false},
		{"no flow", 20, 1, 9e-7, true, false},
		{"no reading", 20, 1, 5e-5, false, false},
	} {
		if got := at(c.pa, c.u, c.flow, c.known); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// The length is in the weight of the legs and in the friction: 10 mm of 900 mm (u), all
// else exact, are 1.111 %·(59.73/240.27 + 1) = 1.387 % of f downward, and of the opposite
// sign in the weight upward, 1.111 %·(1 − 59.73/359.73) = 0.9266 %.
func TestLengthInTheMeasuredFriction(t *testing.T) {
	for o, want := range map[Orientation]float64{VerticalDown: 1.387, VerticalUp: 0.9266} {
		p, err := New(Rig{Bore: uncertainty.Value{X: 0.013}, Length: uncertainty.Value{X: 0.9, U: 0.01}, Drop: uncertainty.Value{X: 1.1},
			Orientation: o, LaminarBelow: 2000, TurbulentAbove: 4000})
		if err != nil {
			t.Fatal(err)
		}
		f, ok := p.MeasuredFriction(Drop{
			Pressure: Input{Value: uncertainty.Value{X: 300}, Known: true},
			Flow:     Input{Value: uncertainty.Value{X: 5e-5}, Known: true},
			Density:  uncertainty.Value{X: 991.44}, Room: uncertainty.Value{X: 20},
		})
		if got := 100 * f.U / f.X; !ok || math.Abs(got/want-1) > 2e-3 {
			t.Errorf("orientation %d: u/f = %v %%, want %v %%", o, got, want)
		}
	}
}
