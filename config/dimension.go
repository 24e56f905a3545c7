package config

import (
	"math"
	"strconv"
	"strings"
)

// Dimension is the kind of quantity that a text must hold.
type Dimension uint8

// The dimensions. A Temperature is a point on a scale (75 Cel, 348.15 K), a
// TemperatureDifference a distance on it (2 K).
const (
	None Dimension = iota
	Percent
	Length
	Temperature
	TemperatureDifference
	TemperatureRate
	Time
	VolumeFlow
	Volume
	Mass
	Velocity
	Pressure
	Voltage
	Current
	Density
	DynamicViscosity
	KinematicViscosity
	Size
	dimensions
)

// powers are the exponents of the base units.
type powers struct{ meter, kilogram, second, kelvin, ampere, byte int8 }

// dimension says what belongs to a Dimension, for reading and for people.
type dimension struct {
	name    string // with its article
	powers  powers
	unit    string // in which people read it
	example string
	common  []string // units that a remedy names
}

// byDimension holds every dimension, indexed by Dimension.
var byDimension = [dimensions]dimension{
	None:                  {"a plain number", powers{}, "1", "0.5", []string{"1"}},
	Percent:               {"a percentage", powers{}, "%", "0.5 %", []string{"%", "[ppm]"}},
	Length:                {"a length", powers{meter: 1}, "m", "13 mm", []string{"mm", "cm", "m", "in"}},
	Temperature:           {"a temperature", powers{kelvin: 1}, "Cel", "42 Cel", []string{"Cel", "°C", "K", "degF"}},
	TemperatureDifference: {"a temperature difference", powers{kelvin: 1}, "K", "2 K", []string{"K", "Cel", "degF"}},
	TemperatureRate:       {"a rate of temperature", powers{kelvin: 1, second: -1}, "K/min", "5 K/min", []string{"K/s", "K/min", "K/h"}},
	Time:                  {"a time", powers{second: 1}, "s", "2 s", []string{"ms", "s", "min", "h", "d"}},
	VolumeFlow:            {"a volume flow", powers{meter: 3, second: -1}, "L/min", "1.2 L/min", []string{"L/min", "L/h", "mL/s", "m3/h", "m3/s"}},
	Volume:                {"a volume", powers{meter: 3}, "L", "200 mL", []string{"mL", "L", "m3"}},
	Mass:                  {"a mass", powers{kilogram: 1}, "g", "200 g", []string{"g", "kg"}},
	Velocity:              {"a velocity", powers{meter: 1, second: -1}, "m/s", "1.5 m/s", []string{"m/s", "cm/s", "mm/s"}},
	Pressure:              {"a pressure", powers{meter: -1, kilogram: 1, second: -2}, "Pa", "2 kPa", []string{"Pa", "kPa", "mbar", "bar", "mm[H2O]"}},
	Voltage:               {"a voltage", powers{meter: 2, kilogram: 1, second: -3, ampere: -1}, "mV", "10 mV", []string{"mV", "uV", "V"}},
	Current:               {"a current", powers{ampere: 1}, "mA", "4 mA", []string{"mA", "A"}},
	Density:               {"a density", powers{meter: -3, kilogram: 1}, "kg/m3", "998 kg/m3", []string{"kg/m3", "g/cm3"}},
	DynamicViscosity:      {"a dynamic viscosity", powers{meter: -1, kilogram: 1, second: -1}, "mPa.s", "0.9 mPa.s", []string{"mPa.s", "Pa.s", "cP"}},
	KinematicViscosity:    {"a kinematic viscosity", powers{meter: 2, second: -1}, "mm2/s", "0.8 mm2/s", []string{"mm2/s", "m2/s", "cSt"}},
	Size:                  {"a size in bytes", powers{byte: 1}, "GB", "20 GB", []string{"MB", "GB", "GiB"}},
}

// known reports whether d is one of the dimensions above.
func (d Dimension) known() bool { return d < dimensions }

// String is the dimension with its article: "a volume flow".
func (d Dimension) String() string {
	if !d.known() {
		return "an unknown dimension"
	}
	return byDimension[d].name
}

// difference is the dimension of a distance between two values of d.
func (d Dimension) difference() Dimension {
	if d == Temperature {
		return TemperatureDifference
	}
	return d
}

// Format writes a value (SI, degrees Celsius, fraction) as people read it:
// "1.2 L/min", "13 mm", "75 Cel", with up to six significant digits.
func Format(value float64, d Dimension) string {
	if !d.known() {
		return short(value)
	}
	unit := personUnit(value, d)
	u, err := UnitFor(unit, d)
	if err != nil || d == None {
		return short(value)
	}
	return short((value-u.Offset)/u.Factor) + " " + unit
}

// personUnit picks the unit in which the number is neither tiny nor huge.
func personUnit(value float64, d Dimension) string {
	a := math.Abs(value)
	switch {
	case d == Length && a < 0.9995:
		return "mm"
	case d == Volume && a > 0 && a < 0.9995e-3:
		return "mL"
	case d == Pressure && a >= 1000:
		return "kPa"
	case d == Mass && a >= 1:
		return "kg"
	case d == Time:
		return timeUnit(a)
	case d == Size && a < 1e9:
		return "MB"
	}
	return byDimension[d].unit
}

func timeUnit(a float64) string {
	switch {
	case a > 0 && a < 1:
		return "ms"
	case a < 120:
		return "s"
	case a < 2*3600:
		return "min"
	case a < 2*86400:
		return "h"
	}
	return "d"
}

// short writes up to six significant digits without trailing zeros.
func short(v float64) string {
	text := strconv.FormatFloat(v, 'g', 6, 64)
	if a := math.Abs(v); a >= 1e-4 && a < 1e15 {
		text = strconv.FormatFloat(v, 'f', max(0, 5-int(math.Floor(math.Log10(a)))), 64)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
	}
	return text
}
