package uncertainty_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"flowrigd/calc/uncertainty"
)

// Table G.2 of JCGM 100:2008 in the file's digits: its source column says where
// each comes from.
func TestStudentTable(t *testing.T) {
	f, err := os.Open("../../testdata/tables/student_t.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 30 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		dof, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range []float64{0.95, 0.9545, 0.99} {
			want, _ := strconv.ParseFloat(row[1+i], 64)
			near(t, "t("+row[0]+")", uncertainty.StudentT(p, dof), want, 0.5001e-4)
		}
	}
}

// One and two degrees of freedom have closed forms (Cauchy; Johnson, Kotz and
// Balakrishnan, from memory, the first is tan by integration).
func TestStudentClosedForms(t *testing.T) {
	for _, p := range []float64{0.001, 0.5, 0.95, 0.999, 0.99999} {
		near(t, "dof 1", uncertainty.StudentT(p, 1)/math.Tan(math.Pi*p/2), 1, 1e-10)
		near(t, "dof 2", uncertainty.StudentT(p, 2)/(p*math.Sqrt(2/(1-p*p))), 1, 1e-10)
	}
}

// gonum's StudentsT is an independent implementation; near p = 0 its inverse
// itself is good to some 1e-8.
func TestStudentAgainstGonum(t *testing.T) {
	for _, dof := range []float64{0.7, 1, 2, 3.5, 16.75, 99, 1234} {
		for _, p := range []float64{0.001, 0.5, 0.6827, 0.95, 0.9973, 0.999} {
			want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile((1 + p) / 2)
			near(t, "t", uncertainty.StudentT(p, dof)/want, 1, 1e-7)
		}
	}
}

func TestStudentRefuses(t *testing.T) {
	for _, c := range [][2]float64{{0, 5}, {1, 5}, {-1, 5}, {math.NaN(), 5}, {0.95, 0}, {0.95, -2}, {0.95, math.NaN()}} {
		if got := uncertainty.StudentT(c[0], c[1]); !math.IsNaN(got) {
			t.Errorf("StudentT(%v, %v) = %v, want NaN", c[0], c[1], got)
		}
	}
}

func TestValues(t *testing.T) {
	near(t, "certificate", uncertainty.Expanded(1, 0.4, 2).U, 0.2, 0)
	near(t, "limits", uncertainty.Limits(1, 0.3).U, 0.3/math.Sqrt(3), 0)
	near(t, "relative", uncertainty.Value{X: -4, U: 1}.Relative(), 0.25, 0)
	near(t, "exact zero", uncertainty.Value{}.Relative(), 0, 0)
	if v, dof := uncertainty.Sample([]float64{3}); v.X != 3 || !math.IsInf(v.U, 1) || dof != 0 {
		t.Errorf("one observation: %+v, %v", v, dof)
	}
	if v, _ := uncertainty.Sample(nil); !math.IsNaN(v.X) {
		t.Errorf("no observation: %+v", v)
	}
}

func TestCombineNothingIsExact(t *testing.T) {
	c := uncertainty.Combine()
	if c.U != 0 || !math.IsInf(c.DoF, 1) || c.Expanded(0.95) != 0 {
		t.Errorf("got %+v", c)
	}
}

type part struct {
	mean, u float64
	shape   uncertainty.Shape
}

// The oracle is a simulation with 400,000 draws from the named distributions,
// whose own standard error is below 0.0008.
func TestSumAgainstSimulation(t *testing.T) {
	const n, r = uncertainty.Normal, uncertainty.Rectangular
	for _, c := range []struct {
		name  string
		parts []part
	}{
		{"normal", []part{{1, 2, n}, {3, 1, n}}},
		{"one rectangle", []part{{5, 1, r}}},
		{"rectangle and normal", []part{{5, 1, r}, {0, 0.3, n}}},
		{"two rectangles", []part{{5, 1, r}, {-2, 1, r}}},
		{"three rectangles and normal", []part{{5, 1, r}, {-2, 0.7, r}, {0, 2, r}, {0, 0.5, n}}},
		{"narrow rectangle folded", []part{{5, 1, r}, {0, 0.31, r}, {0, 0.1, n}}},
		{"five rectangles", []part{{0, 1, r}, {0, 2, r}, {0, 1, r}, {0, 1.5, r}, {0, 0.9, r}}},
		{"large mean", []part{{1e9, 1, r}, {0, 1, n}}},
	} {
		t.Run(c.name, func(t *testing.T) { compareSum(t, c.parts) })
	}
}

func compareSum(t *testing.T, parts []part) {
	const draws = 400_000
	random := rand.New(rand.NewPCG(1, 2))
	var s uncertainty.Sum
	for _, p := range parts {
		s.Add(p.mean, p.u, p.shape)
	}
	at := [9]float64{}
	below := [9]float64{}
	for i := range at {
		at[i] = s.Mean() + float64(i-4)*0.6*math.Sqrt(s.Variance())
	}
	for range draws {
		y := draw(random, parts)
		for i := range at {
			if y < at[i] {
				below[i]++
			}
		}
	}
	for i := range at {
		near(t, "P", s.Below(at[i]), below[i]/draws, 0.004)
	}
}

func draw(random *rand.Rand, parts []part) (y float64) {
	for _, p := range parts {
		y += p.mean
		if p.shape == uncertainty.Rectangular {
			y += p.u * math.Sqrt(3) * (2*random.Float64() - 1)
		} else {
			y += p.u * random.NormFloat64()
		}
	}
	return y
}

func TestSumExactly(t *testing.T) {
	var exact uncertainty.Sum
	exact.Add(7, 0, uncertainty.Normal)
	near(t, "below", exact.Below(6.9), 0, 0)
	near(t, "at", exact.Below(7), 0.5, 0)
	near(t, "above", exact.Below(7.1), 1, 0)

	var rectangle uncertainty.Sum // 0 to 2
	rectangle.Add(1, 1/math.Sqrt(3), uncertainty.Rectangular)
	near(t, "quarter", rectangle.Below(0.5), 0.25, 2e-6)
	near(t, "outside", rectangle.Below(2.01), 1, 0)

	var triangle uncertainty.Sum // two equal rectangles: triangle on −2 to 2
	triangle.Add(0, 1/math.Sqrt(3), uncertainty.Rectangular)
	triangle.Add(0, 1/math.Sqrt(3), uncertainty.Rectangular)
	near(t, "triangle at -1", triangle.Below(-1), 0.125, 2e-6)
}

func FuzzSum(f *testing.F) {
	f.Add(1.0, 2.0, 0.5, 0.1, 3.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, x float64) {
		var s uncertainty.Sum
		for i, u := range []float64{a, b, c, d} {
			u = math.Abs(math.Mod(u, 1000))
			if math.IsNaN(u) {
				return
			}
			s.Add(0, u, uncertainty.Shape(i%2))
		}
		if math.IsNaN(x) {
			return
		}
		if p := s.Below(x); !(p >= 0 && p <= 1) {
			t.Errorf("Below(%v) of %+v = %v", x, s, p)
		}
	})
}

func BenchmarkSumBelow(b *testing.B) {
	var s uncertainty.Sum
	for range 3 {
		s.Add(1, 1, uncertainty.Rectangular)
	}
	s.Add(0, 0.1, uncertainty.Normal)
	b.ReportAllocs()
	for b.Loop() {
		s.Below(4)
	}
}
