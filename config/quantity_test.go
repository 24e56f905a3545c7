package config

import (
	"math"
	"strings"
	"testing"

	"flowrigd/calc/uncertainty"
)

// The factors are those of UCUM 2.1 and of the SI Brochure (9th edition, table
// 8 for minute, hour, day and litre); 0 degF = -17.777... degrees Celsius and
// 0 K = -273.15 degrees Celsius by definition. What follows ± is halved (k = 2,
// JCGM 100:2008, 6.2.1) or divided by the root of 3 (4.3.7).
func TestParseQuantity(t *testing.T) {
	tests := []struct {
		text  string
		want  Dimension
		x, u  float64
		shape uncertainty.Shape
	}{
		{"1.2 L/min", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"72 L/h", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"20 mL/s", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"0.072 m3/h", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"0.072 m³/h", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"2e-5 m3/s", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"2e-5 m3.s-1", VolumeFlow, 2e-5, 0, uncertainty.Normal},
		{"1 [gal_us]/min", VolumeFlow, 3.785411784e-3 / 60, 0, uncertainty.Normal},
		{"13.00 mm ± 0.04 mm", Length, 0.013, 0.00002, uncertainty.Normal},
		{"13.00 mm +/- 40 um", Length, 0.013, 0.00002, uncertainty.Normal},
		{"13 mm ± 0.05 mm (limits)", Length, 0.013, 0.00005 / math.Sqrt(3), uncertainty.Rectangular},
		{"200 mm ± 1 %", Length, 0.2, 0.001, uncertainty.Normal},
		{"-200 mm ± 1 %", Length, -0.2, 0.001, uncertainty.Normal},
		{"1.3 cm", Length, 0.013, 0, uncertainty.Normal},
		{"0.5 in", Length, 0.0127, 0, uncertainty.Normal},
		{"\u22125 mm", Length, -0.005, 0, uncertainty.Normal},
		{"5\u00a0µm", Length, 5e-6, 0, uncertainty.Normal},
		{"42 Cel", Temperature, 42, 0, uncertainty.Normal},
		{"42 °C ± 0.4 K", Temperature, 42, 0.2, uncertainty.Normal},
		{"42 ºC ± 0.4 K", Temperature, 42, 0.2, uncertainty.Normal},
		{"42 \u02daC", Temperature, 42, 0, uncertainty.Normal},
		{"1 ft", Length, 0.3048, 0, uncertainty.Normal},
		{"42 Cel ± 0.4 Cel", Temperature, 42, 0.2, uncertainty.Normal},
		{"107.6 degF ± 0.9 degF", Temperature, 42, 0.25, uncertainty.Normal},
		{"315.15 K", Temperature, 42, 0, uncertainty.Normal},
		{"2 K", TemperatureDifference, 2, 0, uncertainty.Normal},
		{"2 Cel", TemperatureDifference, 2, 0, uncertainty.Normal},
		{"1.8 degF", TemperatureDifference, 1, 0, uncertainty.Normal},
		{"6 K/min", TemperatureRate, 0.1, 0, uncertainty.Normal},
		{"200 ms", Time, 0.2, 0, uncertainty.Normal},
		{"3 min", Time, 180, 0, uncertainty.Normal},
		{"400 d", Time, 400 * 86400, 0, uncertainty.Normal},
		{"200 mL", Volume, 2e-4, 0, uncertainty.Normal},
		{"0.2 kg", Mass, 0.2, 0, uncertainty.Normal},
		{"1.5 m/s", Velocity, 1.5, 0, uncertainty.Normal},
		{"2 kPa", Pressure, 2000, 0, uncertainty.Normal},
		{"20 mbar", Pressure, 2000, 0, uncertainty.Normal},
		{"100 mmH2O", Pressure, 980.665, 0, uncertainty.Normal},
		{"1 psi", Pressure, 6894.757293168361, 0, uncertainty.Normal},
		{"41.276 mV", Voltage, 0.041276, 0, uncertainty.Normal},
		{"4 mA", Current, 0.004, 0, uncertainty.Normal},
		{"998.2 kg/m3", Density, 998.2, 0, uncertainty.Normal},
		{"0.998 g/cm3", Density, 998, 0, uncertainty.Normal},
		{"1 mPa.s", DynamicViscosity, 1e-3, 0, uncertainty.Normal},
		{"1 cP", DynamicViscosity, 1e-3, 0, uncertainty.Normal},
		{"1 cSt", KinematicViscosity, 1e-6, 0, uncertainty.Normal},
		{"1 mm2/s", KinematicViscosity, 1e-6, 0, uncertainty.Normal},
		{"0.5 %", Percent, 0.005, 0, uncertainty.Normal},
		{"0.5 % ± 0.1 %", Percent, 0.005, 0.0005, uncertainty.Normal},
		{"2300", None, 2300, 0, uncertainty.Normal},
		{"0.5 1", None, 0.5, 0, uncertainty.Normal},
		{"20 GB", Size, 20e9, 0, uncertainty.Normal},
		{"1 GiB", Size, 1 << 30, 0, uncertainty.Normal},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			v, err := ParseQuantity(tt.text, tt.want)
			if err != nil {
				t.Fatal(err)
			}
			// A few roundings of a float64, and the offsets of the scales.
			const rel = 1e-13
			if !near(v.X, tt.x, rel) || !near(v.U, tt.u, rel) || v.Shape != tt.shape {
				t.Errorf("got %+v, want X %g U %g shape %d", v, tt.x, tt.u, tt.shape)
			}
		})
	}
}

func near(got, want, rel float64) bool {
	return math.Abs(got-want) <= rel*math.Abs(want)
}

func TestParseQuantityRefuses(t *testing.T) {
	tests := []struct {
		text string
		want Dimension
		err  string
	}{
		{"", Length, `"": no number at the beginning; write a length such as "13 mm"`},
		{"mm", Length, `"mm": no number at the beginning; write a length such as "13 mm"`},
		{"13", Length, `"13": the unit is missing; write a length such as "13 mm"`},
		{"13mm", Length, `"13mm": no space between number and unit; write "13 mm"`},
		{"13,5 mm", Length, `"13,5 mm": a comma in the number; write a decimal point, such as "13.5 mm"`},
		{"13,00 mm ± 0,04 mm", Length, `"13,00 mm ± 0,04 mm": a comma in the number; write a decimal point, such as "13.00 mm ± 0.04 mm"`},
		{"1,200 mm ± 1 mm", Length, `"1,200 mm ± 1 mm": a comma in the number; write a decimal point, such as "1.200 mm ± 1 mm", or leave the comma out where it parts thousands`},
		{"13mm ± 0.05mm", Length, `"13mm ± 0.05mm": no space between number and unit; write "13 mm ± 0.05 mm"`},
		{"13 ± 0.05 mm (limits)", Length, `"13 ± 0.05 mm (limits)": the unit is missing; write "13 mm ± 0.05 mm (limits)"`},
		{"13 mm +- 0.05 mm", Length, `"13 mm +- 0.05 mm": "mm +- 0.05 mm" is not a unit; write "13 mm ± 0.05 mm"`},
		{"13.00 ± 0.04", Length, `"13.00 ± 0.04": the unit is missing; write the unit, such as "13.00 mm ± 0.04 mm"`},
		{"13.00 ± 0.04 (limits)", Length, `"13.00 ± 0.04 (limits)": the unit is missing; write the unit, such as "13.00 mm ± 0.04 mm (limits)"`},
		{"1.2 ± 2 %", VolumeFlow, `"1.2 ± 2 %": the unit is missing; write the unit, such as "1.2 L/min ± 2 %"`},
		{"23 ± 2 K", Temperature, `"23 ± 2 K": the unit is missing; write the unit, such as "23 Cel ± 2 K"`},
		{"23 ± 2", Temperature, `"23 ± 2": the unit is missing; write the unit, such as "23 Cel ± 2 K"`},
		{"23 Cel ± 2", Temperature, `"23 Cel ± 2": behind ±: the unit is missing; write "23 Cel ± 2 K"`},
		{"1 lpm ± 2 %", VolumeFlow, `"1 lpm ± 2 %": "lpm" is not a unit; write L/min`},
		{"13 \u043c\u043c", Length, `"13 мм": "мм" is not a unit: the character м in it is U+043C, which may look like another; write one of mm, cm, m, in`},
		{"75 °", Temperature, `"75 °": "°" is not a unit; write Cel`},
		{"13 mn", Length, `"13 mn": "mn" is not a unit; write one of mm, cm, m, in`},
		{"13 MM", Length, `"13 MM": "MM" is not a unit; write mm, capital and small letters matter`},
		{"13 L", Length, `"13 L": L is not the unit of a length; write one of mm, cm, m, in`},
		{"1.2 L", VolumeFlow, `"1.2 L": L is not the unit of a volume flow; write one of L/min, L/h, mL/s, m3/h, m3/s`},
		{"NaN mm", Length, `"NaN mm": no number at the beginning; write a length such as "13 mm"`},
		{"Inf mm", Length, `"Inf mm": no number at the beginning; write a length such as "13 mm"`},
		{"1e999 mm", Length, `"1e999 mm": the number is too large; write a length such as "13 mm"`},
		{"1e308 GB", Size, `"1e308 GB": the number is too large; write a size in bytes such as "20 GB"`},
		{"0x10 mm", Length, `"0x10 mm": "0x10 mm" is not a number with a unit; write a length such as "13 mm"`},
		{"13 mm ±", Length, `"13 mm ±": nothing stands behind ±; write a number and a unit, such as ± 0.05 mm, or leave ± out`},
		{"13 mm ± 0.05", Length, `"13 mm ± 0.05": behind ±: the unit is missing; write "13 mm ± 0.05 mm"`},
		{"13 mm ± -1 mm", Length, `"13 mm ± -1 mm": a negative number behind ±; write it without the minus`},
		{"13 mm ± 1 mm ± 2 mm", Length, `"13 mm ± 1 mm ± 2 mm": more than one ±; write one`},
		{"13 mm (limits)", Length, `"13 mm (limits)": (limits) without a ±; write ± and the limits of error before it`},
		{"42 Cel ± 1 %", Temperature, `"42 Cel ± 1 %": a percentage of a temperature depends on where its scale begins; write ± in kelvin, such as ± 0.5 K`},
		{"42 C", Temperature, `"42 C": "C" is not a unit; write one of Cel, °C, K, degF`},
		{"42 Cel/s", Temperature, `"42 Cel/s": Cel/s is not the unit of a temperature; write one of Cel, °C, K, degF`},
		{"0.5", Percent, `"0.5": the unit is missing; write a percentage such as "0.5 %"`},
		{"0.5 1", Percent, `"0.5 1": 1 is not the unit of a percentage; write % or [ppm]`},
		{"20 m", Size, `"20 m": m is not the unit of a size in bytes; write one of MB, GB, GiB`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			v, err := ParseQuantity(tt.text, tt.want)
			if err == nil || err.Error() != tt.err {
				t.Errorf("got %+v, %v\nwant %s", v, err, tt.err)
			}
			if v != (uncertainty.Value{}) {
				t.Errorf("a value %+v beside an error", v)
			}
		})
	}
}

func TestFormat(t *testing.T) {
	tests := []struct {
		value float64
		d     Dimension
		want  string
	}{
		{2e-5, VolumeFlow, "1.2 L/min"},
		{0.013, Length, "13 mm"},
		{0.01304, Length, "13.04 mm"},
		{1.1, Length, "1.1 m"},
		{0, Length, "0 mm"},
		{75, Temperature, "75 Cel"},
		{2, TemperatureDifference, "2 K"},
		{0.2, Time, "200 ms"},
		{60, Time, "60 s"},
		{3600, Time, "60 min"},
		{400 * 86400, Time, "400 d"},
		{0.005, Percent, "0.5 %"},
		{2300, None, "2300"},
		{1234567, None, "1234567"},
		{20e9, Size, "20 GB"},
		{2000, Pressure, "2 kPa"},
		{2e-4, Volume, "200 mL"},
		{1e-7, None, "1e-07"},
	}
	for _, tt := range tests {
		if got := Format(tt.value, tt.d); got != tt.want {
			t.Errorf("Format(%g, %v) = %q, want %q", tt.value, tt.d, got, tt.want)
		}
	}
}

// Every unit that a remedy names must be one that the parser takes.
func TestRemediesAreUnits(t *testing.T) {
	for d := range dimensions {
		for _, unit := range byDimension[d].common {
			if _, err := UnitFor(unit, d); err != nil {
				t.Errorf("%v: %v", d, err)
			}
		}
		if _, err := ParseQuantity(byDimension[d].example, d); err != nil {
			t.Errorf("%v: %v", d, err)
		}
	}
}

func FuzzParseQuantity(f *testing.F) {
	for d := range dimensions {
		f.Add(byDimension[d].example, uint8(d))
	}
	f.Add("13.00 mm ± 0.04 mm (limits)", uint8(Length))
	f.Add("-1e308 degF +/- 9e307 K", uint8(Temperature))
	f.Add("0", uint8(0x53)) // no dimension
	f.Fuzz(func(t *testing.T, text string, d uint8) {
		v, err := ParseQuantity(text, Dimension(d))
		if err != nil {
			if v != (uncertainty.Value{}) || !strings.Contains(err.Error(), "; ") {
				t.Fatalf("value %+v beside the error %q", v, err)
			}
			return
		}
		if math.IsNaN(v.X) || math.IsInf(v.X, 0) || math.IsNaN(v.U) || math.IsInf(v.U, 0) || v.U < 0 {
			t.Fatalf("%q gives %+v", text, v)
		}
		// What people read back must be a quantity again.
		if _, err := ParseQuantity(Format(v.X, Dimension(d)), Dimension(d)); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
	})
}

// TestHalfWidth holds that what stood behind ± comes back as it was written:
// twice the standard uncertainty (k = 2), or the root of 3 times that of limits
// (JCGM 100:2008, 4.3.7).
func TestHalfWidth(t *testing.T) {
	for text, want := range map[string]float64{"13 mm ± 0.04 mm": 4e-5, "13 mm ± 0.04 mm (limits)": 4e-5, "200 mm ± 1 % (limits)": 2e-3, "13 mm": 0} {
		v, err := ParseQuantity(text, Length)
		if err != nil || !near(HalfWidth(v), want, 1e-12) {
			t.Errorf("%s: %v, %v, want %v", text, HalfWidth(v), err, want)
		}
	}
}
