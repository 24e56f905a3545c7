package config

import (
	"slices"
	"strings"
)

// The units in which people at the bench read: on the page, and in what export hands
// over with --units bench.

// BenchUnit is such a unit.
type BenchUnit struct {
	Unit
	Word string // as names have it: liters_per_minute
}

// benchUnits by dimension, each with its code and its word.
var benchUnits = map[Dimension][2]string{
	VolumeFlow: {"L/min", "liters_per_minute"}, Temperature: {"Cel", "celsius"}, TemperatureRate: {"K/min", "kelvin_per_minute"},
	Length: {"mm", "millimeters"}, Pressure: {"Pa", "pascals"}, Velocity: {"m/s", "meters_per_second"}, Time: {"s", "seconds"},
	Density: {"kg/m3", "kg_per_cubic_meter"}, DynamicViscosity: {"mPa.s", "millipascal_seconds"},
	KinematicViscosity: {"mm2/s", "square_millimeters_per_second"}, TemperatureDifference: {"K", "kelvin"}, Percent: {"%", "percent"},
	Volume: {"mL", "milliliters"}, Mass: {"g", "grams"},
}

// BenchUnitOf is the unit of the bench for a dimension; false where there is none.
func BenchUnitOf(d Dimension) (BenchUnit, bool) {
	b, ok := benchUnits[d]
	if !ok {
		return BenchUnit{}, false
	}
	u, err := UnitFor(b[0], d)
	return BenchUnit{u, b[1]}, err == nil
}

// siUnits are the units that names of machine interfaces end in, by their words, with
// their codes of the UCUM.
var siUnits = map[string]struct {
	dimension Dimension
	code      string
}{
	"cubic_meters_per_second": {VolumeFlow, "m3/s"}, "celsius": {Temperature, "Cel"}, "meters": {Length, "m"}, "pascals": {Pressure, "Pa"},
	"kg_per_cubic_meter": {Density, "kg/m3"}, "pascal_seconds": {DynamicViscosity, "Pa.s"},
	"square_meters_per_second": {KinematicViscosity, "m2/s"}, "meters_per_second": {Velocity, "m/s"},
	"kelvin_per_second": {TemperatureRate, "K/s"}, "kelvin": {TemperatureDifference, "K"}, "ratio": {Percent, "1"},
	"cubic_meters": {Volume, "m3"}, "kilograms": {Mass, "kg"}, "seconds": {Time, "s"},
}

// spreads are what a name of a quantity may go on with: it is in the same unit.
var spreads = []string{"_standard_error", "_expanded", "_uncertainty"}

// NamedUnit reads the unit off a name such as flow_cubic_meters_per_second_uncertainty:
// its code, and the name with the bench's unit in place of it. False where the name
// has no unit.
func NamedUnit(name string) (code, benchName string, bench BenchUnit, ok bool) {
	head, spread := name, ""
	for _, s := range spreads {
		if before, found := strings.CutSuffix(name, s); found {
			head, spread = before, s
			break
		}
	}
	word := ""
	for w := range siUnits {
		if (head == w || strings.HasSuffix(head, "_"+w)) && len(w) > len(word) {
			word = w
		}
	}
	if word == "" {
		if strings.HasPrefix(name, "seconds_") {
			return "s", name, BenchUnit{Unit{"s", 1, 0}, ""}, true
		}
		return "", "", BenchUnit{}, false
	}
	si := siUnits[word]
	bench, ok = BenchUnitOf(si.dimension)
	return si.code, strings.TrimSuffix(head, word) + bench.Word + spread, bench, ok
}

// NearestOf gives the n known words that a mistyped one is closest to, the closest
// first.
func NearestOf(word string, known []string, n int) []string {
	list := slices.Clone(known)
	slices.SortStableFunc(list, func(a, b string) int { return distance(word, a) - distance(word, b) })
	return list[:min(n, len(list))]
}
