package pipe_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
)

type published struct {
	block                                     string
	re, rough, bore, celsius, flow, value, by float64
}

// Friction, entrance lengths, Reynolds numbers and head losses; each row of the
// file names its source, how it was obtained and its own tolerance.
func TestPublishedFlow(t *testing.T) {
	rows := readPublished(t)
	if len(rows) < 180 {
		t.Fatalf("%d rows", len(rows))
	}
	for i, r := range rows {
		got := computePublished(t, r)
		if !(math.Abs(got/r.value-1) <= r.by) {
			t.Errorf("row %d, %s at Re %v, ε/D %v, %v °C: got %.14g, want %.14g within %g", i+2, r.block, r.re, r.rough, r.celsius, got, r.value, r.by)
		}
	}
}

func readPublished(t *testing.T) (rows []published) {
	t.Helper()
	f, err := os.Open("../../testdata/tables/pipe_flow.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all[1:] {
		n := func(i int) float64 { v, _ := strconv.ParseFloat(c[i], 64); return v }
		rows = append(rows, published{c[0], n(1), n(2), n(3), n(4), n(5), n(6), n(7)})
	}
	return rows
}

func computePublished(t *testing.T, r published) float64 {
	switch r.block {
	case "laminar":
		return pipe.LaminarFriction(r.re)
	case "colebrook", "colebrook_check":
		return pipe.Colebrook(r.re, r.rough)
	case "entrance_laminar":
		return pipe.EntranceLength(quantity.Laminar, r.re, 1)
	case "entrance_turbulent":
		return pipe.EntranceLength(quantity.Turbulent, r.re, 1)
	}
	w, err := water.At(r.celsius)
	if err != nil {
		t.Fatal(err)
	}
	re := pipe.Reynolds(r.flow, r.bore, w.KinematicViscosity)
	if r.block == "rig_reynolds" {
		return re
	}
	v, f := pipe.Velocity(r.flow, r.bore), pipe.LaminarFriction(re)
	if re > 4000 {
		f = pipe.Colebrook(re, r.rough)
	}
	return 4 * pipe.WallShear(f, w.Density, v) / r.bore // pressure gradient, Pa/m
}

// Worked examples of Cengel and Cimbala, Fluid Mechanics, from memory and
// recomputed: pressure drops to the digits that the book rounds to.
func TestTextbookExamples(t *testing.T) {
	for _, c := range []struct {
		name                             string
		bore, length, velocity, nu, rho  float64
		rough, re, friction, drop, withF float64
	}{
		{"water at 60 °F in a 2 in steel pipe of 200 ft", 0.0508, 60.96, 2.7942, 1.1227e-6, 998.9, 4.2e-5, 126400, 0.0174, 81.4e3, 0.005},
		{"water at 40 °F in a 0.010 ft tube of 30 ft", 0.003048, 9.144, 0.9144, 1.5449e-6, 999.9, 0, 1803, 0.0355, 44.5e3, 0.005},
	} {
		re := pipe.Reynolds(c.velocity*math.Pi*c.bore*c.bore/4, c.bore, c.nu)
		relative(t, c.name+": Re", re, c.re, 0.001)
		f := pipe.LaminarFriction(re)
		if re > 4000 {
			f = pipe.Colebrook(re, c.rough)
		}
		relative(t, c.name+": f", f, c.friction, c.withF)
		relative(t, c.name+": drop", 4*pipe.WallShear(f, c.rho, c.velocity)/c.bore*c.length, c.drop, c.withF)
	}
}

// Blasius (1913), 0.316·Re^(−1/4), is an independent fit for smooth tubes up to
// 10⁵; the two formulas are known to differ by up to some 3 %.
func TestColebrookAgainstBlasius(t *testing.T) {
	for _, re := range []float64{4000, 1e4, 3e4, 1e5} {
		relative(t, "smooth", pipe.Colebrook(re, 0), 0.316/math.Sqrt(math.Sqrt(re)), 0.03)
	}
}

// The definition itself is the oracle: the residual of the equation relative to
// 1/√f, over fifteen decades.
func TestColebrookResidual(t *testing.T) {
	for re := 1e-3; re < 1e12; re *= 1.7 {
		for _, rough := range []float64{0, 1e-7, 1e-5, 1e-4, 1e-3, 1e-2, 0.05} {
			x := 1 / math.Sqrt(pipe.Colebrook(re, rough))
			residual := x + 2*math.Log10(rough/3.7+2.51*x/re)
			if !(math.Abs(residual) <= 2e-12*x) {
				t.Errorf("Re %g, ε/D %g: residual %g of %g", re, rough, residual, x)
			}
		}
	}
}

func TestColebrookRefuses(t *testing.T) {
	for _, c := range [][2]float64{{0, 0}, {-1, 0}, {math.NaN(), 0}, {math.Inf(1), 0}, {1e4, -1e-4}, {1e4, 0.06}, {1e4, math.NaN()}} {
		if f := pipe.Colebrook(c[0], c[1]); !math.IsNaN(f) {
			t.Errorf("Colebrook(%v, %v) = %v", c[0], c[1], f)
		}
	}
}

func FuzzColebrook(f *testing.F) {
	f.Add(8134.0, 1.2e-4)
	f.Fuzz(func(t *testing.T, re, rough float64) {
		got := pipe.Colebrook(re, rough)
		if re >= 1 && re <= 1e15 && rough >= 0 && rough <= 0.05 && !(got > 0 && !math.IsInf(got, 0)) {
			t.Errorf("Colebrook(%g, %g) = %v", re, rough, got)
		}
	})
}
