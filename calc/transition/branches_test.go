package transition

import (
	"math"
	"math/rand/v2"
	"testing"

	"flowrigd/calc/uncertainty"
)

// drops are those of a tube of 900 mm by 13 mm with water of 20 °C (998.2 kg/m³,
// 1.0034e-6 m²/s): the two laws, mixed by a share, through a transmitter with a zero and
// gains of its own, with noise.
func drops(from, to, critical, zero, laminar, turbulent, noise float64, r *rand.Rand) (list []Drop) {
	const n = 36
	for i := range n {
		re := from * math.Pow(to/from, float64(i)/(n-1))
		v := re * 1.0034e-6 / 0.013
		head := 998.2 * v * v / 2 * 0.9 / 0.013
		d := Drop{Reynolds: uncertainty.Value{X: re, U: 0.01 * re}, Celsius: 20, Laminar: head * 64 / re, Turbulent: head * 0.3164 / math.Sqrt(math.Sqrt(re)), Looks: 20}
		q := 1 / (1 + math.Exp(-math.Log(re/critical)/0.025))
		d.Pascal = zero + (1-q)*laminar*d.Laminar + q*turbulent*d.Turbulent + noise*r.NormFloat64()
		list = append(list, d)
	}
	return list
}

// TestTheBreakOfThePressureDrop: up through 2400 and down through 1800, whatever zero and
// gain: the Re midway between the branches.
func TestTheBreakOfThePressureDrop(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 83))
	for _, c := range []struct{ zero, laminar, turbulent, noise float64 }{{0, 1, 1, 0}, {-3, 1.02, 1.02, 0.05}, {150, 1.1, 0.97, 0.05}} {
		all := drops(1800, 3100, 2400, c.zero, c.laminar, c.turbulent, c.noise, r)
		all = append(all, drops(3000, 1500, 1800, c.zero, c.laminar, c.turbulent, c.noise, r)...)
		estimates, err := Breaks(all, 0)
		if err != nil || len(estimates) != 2 {
			t.Fatalf("%+v: %d estimates, %v", c, len(estimates), err)
		}
		for i, want := range []float64{2400, 1800} {
			if f := estimates[i].Fit; f == nil || !f.Bounded || math.Abs(f.Critical.X/want-1) > 0.012 || f.Low > want || f.High < want {
				t.Errorf("%+v: %+v, want %.0f", c, f, want)
			}
		}
	}
}

// TestNoBreakIsNoLook: a tube that stayed laminar, one whose branches the noise hides, and
// one in which the water was heated on the way.
func TestNoBreakIsNoLook(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 84))
	heated := drops(1800, 3100, 2400, 0, 1, 1, 0.01, r)
	for i := range heated {
		heated[i].Celsius += 0.1 * float64(i)
	}
	for name, list := range map[string][]Drop{
		"laminar throughout": drops(1200, 2000, 2600, 0, 1, 1, 0.01, r),
		"hidden":             drops(1800, 3100, 2400, 0, 1, 1, 30, r),
		"heated":             heated,
		"one drop":           heated[:1],
		"none":               nil,
	} {
		if estimates, err := Breaks(list, 0); err != nil || len(estimates) != 0 {
			t.Errorf("%s: %+v, %v", name, estimates, err)
		}
	}
}
