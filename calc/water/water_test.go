package water_test

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"flowrigd/calc/water"
)

func relative(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g relative", what, got, want, tolerance)
	}
}

// Printed check values of SR6-08(2011), values computed by the library iapws,
// and handbook values, each row with its own tolerance, source and how it was
// obtained.
func TestPublishedValues(t *testing.T) {
	f, err := os.Open("../../testdata/tables/water.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 150 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		kelvin, want, tolerance := number(t, row[1]), number(t, row[2]), number(t, row[3])
		p := water.Release(kelvin)
		relative(t, fmt.Sprintf("%s at %s K (%s; %s)", row[0], row[1], row[5], row[6]), pick(t, p, row[0]), want, tolerance)
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func pick(t *testing.T, p water.Properties, quantity string) float64 {
	switch quantity {
	case "density":
		return p.Density
	case "dynamic_viscosity":
		return p.DynamicViscosity
	case "kinematic_viscosity":
		return p.KinematicViscosity
	case "isobaric_heat_capacity":
		return p.HeatCapacity
	case "thermal_conductivity":
		return p.Conductivity()
	}
	t.Fatalf("no such quantity: %s", quantity)
	return 0
}

// Every half kelvin from 1 to 99 °C against python3-iapws at exactly 0.1 MPa.
func TestAgainstIapws(t *testing.T) {
	rows := iapwsGrid(t)
	if len(rows) != 197 {
		t.Fatalf("%d rows, want 197", len(rows))
	}
	for _, row := range rows {
		p := water.Release(row[0])
		at := fmt.Sprintf(" at %v K", row[0])
		relative(t, "density"+at, p.Density, row[1], 1e-12)
		relative(t, "viscosity"+at, p.DynamicViscosity, row[2], 1e-12)
		relative(t, "kinematic viscosity"+at, p.KinematicViscosity, row[2]/row[1], 1e-12)
		relative(t, "heat capacity"+at, p.HeatCapacity, row[3], 1e-12)
		relative(t, "conductivity"+at, p.Conductivity(), row[4], 1e-12)
	}
}

func iapwsGrid(t *testing.T) (rows [][5]float64) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import iapws").Run(); err != nil {
		if os.Getenv("FLOWRIG_REQUIRE") == "1" {
			t.Fatalf("python3-iapws: %v", err)
		}
		t.Skip("python3-iapws is not installed")
	}
	var in strings.Builder
	for i := 2; i <= 198; i++ {
		fmt.Fprintln(&in, float64(i)/2+273.15)
	}
	command := exec.Command(python, "testdata/iapws_grid.py")
	command.Stdin = strings.NewReader(in.String())
	out, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		var r [5]float64
		if _, err := fmt.Sscan(line, &r[0], &r[1], &r[2], &r[3], &r[4]); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		rows = append(rows, r)
	}
	return rows
}

// The derivatives against central differences, whose own error at this step is
// below 1e-7 relative; and against the list of dlnν/dT computed independently
// from SR6-08 to five digits.
func TestDerivatives(t *testing.T) {
	const h = 0.01
	nu := func(kelvin float64) float64 { return water.Release(kelvin).KinematicViscosity }
	for kelvin := 254.0; kelvin < 383; kelvin += 3.7 {
		p := water.Release(kelvin)
		low, mid, high := math.Log(nu(kelvin-h)), math.Log(nu(kelvin)), math.Log(nu(kelvin+h))
		relative(t, "dlnν/dT", p.DLnNuDT, (high-low)/(2*h), 1e-6)
		relative(t, "d²lnν/dT²", p.D2LnNuDT2, (high-2*mid+low)/(h*h), 1e-4)
	}
	for celsius, want := range map[float64]float64{5: -3.1523, 10: -2.8706, 15: -2.6326, 20: -2.4290, 25: -2.2528,
		30: -2.0986, 40: -1.8411, 50: -1.6330, 60: -1.4600, 70: -1.3126, 80: -1.1850, 90: -1.0732, 95: -1.0224} {
		p, err := water.At(celsius)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.DLnNuDT*100-want) > 0.51e-4 {
			t.Errorf("dlnν/dT at %v °C: %.5f %%/K, want %.4f", celsius, p.DLnNuDT*100, want)
		}
	}
}

// dv/dT printed in the check table of SR6-08(2011); expansion is its quotient by v.
func TestExpansion(t *testing.T) {
	for _, c := range []struct{ kelvin, slope, density float64 }{
		{260, -3.86550941e-7, 997.068360},
		{298.15, 2.58054178e-7, 997.047013},
	} {
		p := water.Release(c.kelvin)
		relative(t, "expansion", p.Expansion, c.slope*c.density, 1e-8)
	}
}

// The uncertainty must cover the handbooks' disagreement: KSW 1978 within 0.09 %
// to 40 °C and 0.30 % to 95 °C (equations from memory) inside limits of √3·u.
func TestViscosityUncertainty(t *testing.T) {
	for celsius, bound := range map[float64]float64{0: 0.0009, 20: 0.0009, 40: 0.0009, 95: 0.0029} {
		p, err := water.At(celsius)
		if err != nil {
			t.Fatal(err)
		}
		u := p.KinematicU / p.KinematicViscosity
		if u*math.Sqrt(3) < bound || u > 0.002 {
			t.Errorf("at %v °C: u = %.4f %%", celsius, 100*u)
		}
	}
}

func TestOutOfRange(t *testing.T) {
	for _, c := range []struct {
		celsius float64
		says    string
	}{{-0.1, "ice"}, {-300, "ice"}, {99.7, "steam"}, {1e300, "steam"}, {math.Inf(1), "steam"}, {math.NaN(), "not a number"}} {
		p, err := water.At(c.celsius)
		var out *water.RangeError
		if !errors.As(err, &out) || p != (water.Properties{}) || water.Liquid(c.celsius) {
			t.Fatalf("At(%v): %+v, %v", c.celsius, p, err)
		}
		for _, part := range []string{"temperature", "0 to 99.606 °C", c.says} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("At(%v): %q does not say %q", c.celsius, err, part)
			}
		}
	}
}

// Table 36 of IAPWS R7-97(2012) (from memory, confirmed by python3-iapws), and
// temperatures computed with python3-iapws to the digits given.
func TestBoilingAt(t *testing.T) {
	for _, c := range []struct{ pascals, celsius, within float64 }{
		{0.1e6, 372.755919 - 273.15, 0.6e-6},
		{1e6, 453.035632 - 273.15, 0.6e-6},
		{10e6, 584.149488 - 273.15, 0.6e-6},
		{101325, 99.974, 0.6e-3},
		{95000, 98.178, 0.6e-3},
		{90000, 96.687, 0.6e-3},
		{80000, 93.485, 0.6e-3},
	} {
		got, err := water.BoilingAt(c.pascals)
		if err != nil || math.Abs(got-c.celsius) > c.within {
			t.Errorf("BoilingAt(%v) = %.7f, %v; want %.7f", c.pascals, got, err, c.celsius)
		}
	}
	for _, p := range []float64{611, 23e6, -1, math.NaN()} {
		if _, err := water.BoilingAt(p); err == nil {
			t.Errorf("BoilingAt(%v) is no error", p)
		}
	}
}

// Pressures of the standard atmosphere, ISO 2533:1975 (from memory), and about
// 95 °C at 1500 m and 93.5 °C at 2000 m (computed with python3-iapws).
func TestBoilingByAltitude(t *testing.T) {
	for altitude, want := range map[float64]float64{0: 101325, 1000: 89874.6, 2000: 79495.2, 11000: 22632.0} {
		got, err := water.Pressure(altitude)
		if err != nil {
			t.Fatal(err)
		}
		relative(t, "pressure", got, want, 2e-6)
	}
	for altitude, want := range map[float64]float64{0: 99.974, 1500: 94.98, 2000: 93.3} {
		got, err := water.Boiling(altitude)
		if err != nil || math.Abs(got-want) > 0.06 {
			t.Errorf("Boiling(%v) = %.3f, %v; want %.3f", altitude, got, err, want)
		}
	}
	for _, altitude := range []float64{-2001, 11001, math.NaN(), math.Inf(1)} {
		if _, err := water.Boiling(altitude); err == nil || !strings.Contains(err.Error(), "altitude") {
			t.Errorf("Boiling(%v): %v", altitude, err)
		}
	}
}

func ExampleAt() {
	p, err := water.At(20)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("ν = %.5e m²/s ± %.2f %%, %.2f %% per kelvin\n",
		p.KinematicViscosity, 200*p.KinematicU/p.KinematicViscosity, 100*p.DLnNuDT)
	_, err = water.At(-3)
	fmt.Println(err)
	// Output:
	// ν = 1.00337e-06 m²/s ± 0.20 %, -2.43 % per kelvin
	// temperature: -3 °C is outside 0 to 99.606 °C: that would be ice; check the sensor, or give the temperature of liquid water
}

// powViscosity is the release's equation as it is printed: the yardstick.
func powViscosity(kelvin float64) float64 {
	t := kelvin / 300
	return 1e-6 * (280.68*math.Pow(t, -1.9) + 511.45*math.Pow(t, -7.7) + 61.131*math.Pow(t, -19.6) + 0.45903*math.Pow(t, -40))
}

var sink float64

func BenchmarkAt(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		p, _ := water.At(42)
		sink = p.KinematicViscosity
	}
}

func BenchmarkPowViscosity(b *testing.B) {
	for b.Loop() {
		sink = powViscosity(315.15)
	}
}
