package thermocouple_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"flowrigd/calc/thermocouple"
)

var types = []thermocouple.Type{thermocouple.K, thermocouple.T, thermocouple.J, thermocouple.N}

type row struct {
	kind                      thermocouple.Type
	celsius, printed, seebeck float64
}

func table(t *testing.T) (rows []row) {
	t.Helper()
	f, err := os.Open("../../testdata/tables/thermocouple.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all[1:] {
		kind, err := thermocouple.Parse(c[0])
		if err != nil {
			t.Fatal(err)
		}
		n := func(i int) float64 { v, _ := strconv.ParseFloat(c[i], 64); return v }
		rows = append(rows, row{kind, n(1), n(2), n(3)})
	}
	return rows
}

// The printed tables of the NIST database, to half of their last digit (0.001
// mV); the Seebeck coefficients to half of the last computed digit.
func TestPrintedTables(t *testing.T) {
	rows := table(t)
	if len(rows) != 56 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, r := range rows {
		e, err := r.kind.EMF(r.celsius)
		if err != nil || math.Abs(e-r.printed) > 0.5001e-3 {
			t.Errorf("type %v at %v °C: %.5f mV, %v; want %.3f", r.kind, r.celsius, e, err, r.printed)
		}
		if r.celsius == 0 {
			continue // type N's slope jumps there from 26.16 to 25.93 µV/K: both branches are right
		}
		s, err := r.kind.Sensitivity(r.celsius)
		if err != nil || math.Abs(s*1000-r.seebeck) > 0.51e-3 {
			t.Errorf("type %v at %v °C: %.4f µV/K, %v; want %.3f", r.kind, r.celsius, s*1000, err, r.seebeck)
		}
	}
}

// A few printed values far from room temperature, from memory of the same
// tables; the last digits of the ranges' ends.
func TestEnds(t *testing.T) {
	for _, r := range []row{
		{thermocouple.K, -270, -6.458, 0}, {thermocouple.K, 1372, 54.886, 0}, {thermocouple.K, 500, 20.644, 0},
		{thermocouple.T, -270, -6.258, 0}, {thermocouple.T, 400, 20.872, 0}, {thermocouple.T, -200, -5.603, 0},
		{thermocouple.J, -210, -8.095, 0}, {thermocouple.J, 760, 42.919, 0}, {thermocouple.J, 1200, 69.553, 0},
		{thermocouple.N, -270, -4.345, 0}, {thermocouple.N, 600, 20.613, 0}, {thermocouple.N, 1300, 47.513, 0},
	} {
		e, err := r.kind.EMF(r.celsius)
		if err != nil || math.Abs(e-r.printed) > 0.5001e-3 {
			t.Errorf("type %v at %v °C: %.5f mV, %v; want %.3f", r.kind, r.celsius, e, err, r.printed)
		}
	}
}

func TestRoundTrip(t *testing.T) {
	for _, kind := range types {
		low, high, err := kind.Range()
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for celsius := low; celsius <= high; celsius += 0.173 {
			worst = math.Max(worst, roundTrip(t, kind, celsius))
		}
		for _, celsius := range []float64{low, high, 0, 1e-9, -1e-9, 760} {
			if celsius <= high {
				worst = math.Max(worst, roundTrip(t, kind, celsius))
			}
		}
		if worst > 1e-6 {
			t.Errorf("type %v: round trip off by %g K", kind, worst)
		}
	}
}

func roundTrip(t *testing.T, kind thermocouple.Type, celsius float64) float64 {
	t.Helper()
	e, err := kind.EMF(celsius)
	if err != nil {
		t.Fatal(err)
	}
	back, err := kind.Temperature(e)
	if err != nil {
		t.Fatalf("type %v at %v °C, %v mV: %v", kind, celsius, e, err)
	}
	return math.Abs(back - celsius)
}

// Newton needs a function that rises everywhere.
func TestRises(t *testing.T) {
	for _, kind := range types {
		low, high, _ := kind.Range()
		for celsius := low; celsius <= high; celsius += 0.5 {
			if s, err := kind.Sensitivity(celsius); err != nil || s <= 0 {
				t.Fatalf("type %v at %v °C: %v mV/K, %v", kind, celsius, s, err)
			}
		}
	}
}

// The printed tables are the oracle: type K at 60 °C is 2.436 mV, at 23 °C
// 0.919 mV (from memory of the same table), each rounded by up to 0.0005 mV.
func TestCompensated(t *testing.T) {
	got, err := thermocouple.K.Compensated(2.436-0.919, 23)
	if err != nil || math.Abs(got-60) > 0.001/0.0414 {
		t.Errorf("%v, %v", got, err)
	}
	// An open, bridged junction: no voltage reads as the cold junction.
	if got, err := thermocouple.K.Compensated(0, 23); err != nil || math.Abs(got-23) > 1e-6 {
		t.Errorf("no voltage: %v, %v", got, err)
	}
}

// The oracle is a difference quotient of Compensated.
func TestCompensatedU(t *testing.T) {
	const mv, cold, uMV, uCold = 1.5, 23.0, 0.002, 1.0
	at := func(mv, cold float64) float64 {
		v, err := thermocouple.T.Compensated(mv, cold)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	want := math.Hypot((at(mv+uMV, cold)-at(mv-uMV, cold))/2, (at(mv, cold+uCold)-at(mv, cold-uCold))/2)
	got, err := thermocouple.T.CompensatedU(at(mv, cold), cold, uMV, uCold)
	if err != nil || math.Abs(got/want-1) > 1e-3 {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
}

// Rows of IEC 60584-1:2013, classes 1 and 2, as read in secondary tabulations.
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		kind    thermocouple.Type
		class   int
		celsius float64
		want    float64
	}{
		{thermocouple.K, 1, 60, 1.5}, {thermocouple.K, 1, 375, 1.5}, {thermocouple.K, 1, 1000, 4},
		{thermocouple.K, 2, -40, 2.5}, {thermocouple.K, 2, 1200, 9}, {thermocouple.N, 2, 400, 3},
		{thermocouple.J, 1, 750, 3}, {thermocouple.T, 1, 20, 0.5}, {thermocouple.T, 1, 350, 1.4}, {thermocouple.T, 2, 100, 1},
	} {
		got, err := c.kind.Tolerance(c.class, c.celsius)
		if err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("type %v class %d at %v °C: %v, %v; want %v", c.kind, c.class, c.celsius, got, err, c.want)
		}
	}
}

func TestRefuses(t *testing.T) {
	none := thermocouple.Type(0)
	for name, call := range map[string]func() (float64, error){
		"type \"B\"":            func() (float64, error) { _, err := thermocouple.Parse("B"); return 0, err },
		"none given":            func() (float64, error) { return none.EMF(20) },
		"none given ":           func() (float64, error) { return none.Temperature(1) },
		"none given  ":          func() (float64, error) { return none.Tolerance(1, 20) },
		"1373 °C is outside":    func() (float64, error) { return thermocouple.K.EMF(1373) },
		"NaN °C is outside":     func() (float64, error) { return thermocouple.K.Sensitivity(math.NaN()) },
		"55 mV is outside":      func() (float64, error) { return thermocouple.K.Temperature(55) },
		"-9 mV is outside":      func() (float64, error) { return thermocouple.J.Temperature(-9) },
		"NaN mV is outside":     func() (float64, error) { return thermocouple.J.Temperature(math.NaN()) },
		"cold junction: type K": func() (float64, error) { return thermocouple.K.Compensated(1, -300) },
		"cold junction: ":       func() (float64, error) { return thermocouple.K.CompensatedU(20, -300, 0, 0) },
		"class 3 is none of":    func() (float64, error) { return thermocouple.K.Tolerance(3, 20) },
		"-50 °C is outside":     func() (float64, error) { return thermocouple.K.Tolerance(1, -50) },
	} {
		want := strings.TrimSpace(strings.Replace(name, "type \"B\"", "\"B\" is none of", 1))
		if v, err := call(); err == nil || v != 0 || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, %v", name, v, err)
		}
	}
}

func FuzzTemperature(f *testing.F) {
	f.Add(1.5, uint8(1))
	f.Add(-6.4, uint8(2))
	f.Fuzz(func(t *testing.T, mv float64, kind uint8) {
		k := types[int(kind)%len(types)]
		celsius, err := k.Temperature(mv)
		if err != nil {
			return
		}
		if e, err := k.EMF(celsius); err != nil || math.Abs(e-mv) > 1e-7 {
			t.Errorf("type %v, %v mV: %v °C gives back %v mV, %v", k, mv, celsius, e, err)
		}
	})
}

func ExampleType_Compensated() {
	celsius, err := thermocouple.K.Compensated(1.517, 23)
	fmt.Printf("%.2f °C %v\n", celsius, err)
	// Output: 60.00 °C <nil>
}

func BenchmarkCompensated(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := thermocouple.K.Compensated(1.517, 23); err != nil {
			b.Fatal(err)
		}
	}
}
