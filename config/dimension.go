package config

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
