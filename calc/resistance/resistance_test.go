package resistance_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"flowrigd/calc/resistance"
)

// Rows of the table of IEC 60751 for Pt100, from memory of its widely reprinted
// values, to half of the last digit.
func TestPrintedTable(t *testing.T) {
	pt := resistance.Thermometer{R0: 100}
	for celsius, want := range map[float64]float64{
		-200: 18.52, -100: 60.26, -50: 80.31, -10: 96.09, 0: 100, 10: 103.90, 20: 107.79, 50: 119.40,
		70: 127.08, 100: 138.51, 200: 175.86, 400: 247.09, 600: 313.71, 850: 390.48,
	} {
		got, err := pt.Resistance(celsius)
		if err != nil || math.Abs(got-want) > 0.005001 {
			t.Errorf("%v °C: %.4f Ω, %v; want %.2f", celsius, got, err, want)
		}
	}
	if got, err := (resistance.Thermometer{R0: 1000}).Resistance(100); err != nil || math.Abs(got-1385.055) > 1e-9 {
		t.Errorf("Pt1000 at 100 °C: %v, %v", got, err)
	}
}

func TestRoundTrip(t *testing.T) {
	for _, r0 := range []float64{100, 1000} {
		pt := resistance.Thermometer{R0: r0}
		for celsius := resistance.Lowest; celsius <= resistance.Highest; celsius += 0.137 {
			r, err := pt.Resistance(celsius)
			if err != nil {
				t.Fatal(err)
			}
			back, err := pt.Temperature(r)
			if err != nil || math.Abs(back-celsius) > 1e-6 {
				t.Fatalf("%v °C → %v Ω → %v °C, %v", celsius, r, back, err)
			}
		}
	}
}

// The oracle is a difference quotient.
func TestSensitivity(t *testing.T) {
	pt := resistance.Thermometer{R0: 100}
	for _, celsius := range []float64{-150, -1, 0.5, 60, 800} {
		low, _ := pt.Resistance(celsius - 0.01)
		high, _ := pt.Resistance(celsius + 0.01)
		got, err := pt.Sensitivity(celsius)
		if err != nil || math.Abs(got-(high-low)/0.02) > 1e-6 {
			t.Errorf("%v °C: %v, %v; want %v", celsius, got, err, (high-low)/0.02)
		}
	}
}

// Classes of IEC 60751:2008, from memory: class B is 0.3 K + 0.5 %.
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		class         string
		celsius, want float64
	}{{"AA", 0, 0.1}, {"A", 100, 0.35}, {"B", 60, 0.6}, {"B", -100, 0.8}, {"C", 60, 1.2}} {
		if got, err := resistance.Tolerance(c.class, c.celsius); err != nil || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("class %s at %v °C: %v, %v; want %v", c.class, c.celsius, got, err, c.want)
		}
	}
}

func TestRefuses(t *testing.T) {
	pt := resistance.Thermometer{R0: 100}
	for want, call := range map[string]func() (float64, error){
		`"Pt50" is none of`:     func() (float64, error) { _, err := resistance.Parse("Pt50"); return 0, err },
		"851 °C is outside":     func() (float64, error) { return pt.Resistance(851) },
		"NaN °C is outside":     func() (float64, error) { return pt.Sensitivity(math.NaN()) },
		"5 Ω is outside":        func() (float64, error) { return pt.Temperature(5) },
		"NaN Ω is outside":      func() (float64, error) { return pt.Temperature(math.NaN()) },
		"0 Ω at 0 °C":           func() (float64, error) { return resistance.Thermometer{}.Temperature(100) },
		`class "D" is none of`:  func() (float64, error) { return resistance.Tolerance("D", 20) },
		"class AA: 300 °C is o": func() (float64, error) { return resistance.Tolerance("AA", 300) },
	} {
		if v, err := call(); err == nil || v != 0 || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, %v", want, v, err)
		}
	}
}

func FuzzTemperature(f *testing.F) {
	f.Add(107.79)
	f.Fuzz(func(t *testing.T, ohms float64) {
		pt := resistance.Thermometer{R0: 100}
		celsius, err := pt.Temperature(ohms)
		if err != nil {
			return
		}
		if r, err := pt.Resistance(celsius); err != nil || math.Abs(r-ohms) > 1e-6 {
			t.Errorf("%v Ω: %v °C gives back %v Ω, %v", ohms, celsius, r, err)
		}
	})
}

func ExampleThermometer_Temperature() {
	pt, err := resistance.Parse("Pt100")
	if err != nil {
		fmt.Println(err)
		return
	}
	celsius, err := pt.Temperature(123.24)
	fmt.Printf("%.2f °C %v\n", celsius, err)
	// Output: 60.00 °C <nil>
}
