package config

import (
	"fmt"
	"strings"
)

// The codes and factors are those of the Unified Code for Units of Measure
// (UCUM 2.1); psi, inch and foot are exact by the international agreement of
// 1959. The habits are common practice, no source.

// atom is one unit symbol.
type atom struct {
	factor float64 // to SI
	powers powers
	metric bool // takes a prefix
}

// atoms are the symbols that may stand in a product.
var atoms = map[string]atom{
	"1":        {1, powers{}, false},
	"%":        {0.01, powers{}, false},
	"[ppth]":   {1e-3, powers{}, false},
	"[ppm]":    {1e-6, powers{}, false},
	"m":        {1, powers{meter: 1}, true},
	"[in_i]":   {0.0254, powers{meter: 1}, false},
	"[ft_i]":   {0.3048, powers{meter: 1}, false},
	"g":        {1e-3, powers{kilogram: 1}, true},
	"t":        {1e3, powers{kilogram: 1}, false},
	"s":        {1, powers{second: 1}, true},
	"min":      {60, powers{second: 1}, false},
	"h":        {3600, powers{second: 1}, false},
	"d":        {86400, powers{second: 1}, false},
	"Hz":       {1, powers{second: -1}, true},
	"K":        {1, powers{kelvin: 1}, true},
	"Cel":      {1, powers{kelvin: 1}, false},
	"[degF]":   {5.0 / 9, powers{kelvin: 1}, false},
	"L":        {1e-3, powers{meter: 3}, true},
	"l":        {1e-3, powers{meter: 3}, true},
	"N":        {1, powers{meter: 1, kilogram: 1, second: -2}, true},
	"Pa":       {1, powers{meter: -1, kilogram: 1, second: -2}, true},
	"bar":      {1e5, powers{meter: -1, kilogram: 1, second: -2}, true},
	"m[H2O]":   {9806.65, powers{meter: -1, kilogram: 1, second: -2}, true},
	"m[Hg]":    {133322, powers{meter: -1, kilogram: 1, second: -2}, true},
	"[psi]":    {6894.757293168361, powers{meter: -1, kilogram: 1, second: -2}, false},
	"A":        {1, powers{ampere: 1}, true},
	"V":        {1, powers{meter: 2, kilogram: 1, second: -3, ampere: -1}, true},
	"P":        {0.1, powers{meter: -1, kilogram: 1, second: -1}, true},
	"St":       {1e-4, powers{meter: 2, second: -1}, true},
	"By":       {1, powers{byte: 1}, true},
	"[gal_us]": {3.785411784e-3, powers{meter: 3}, false},
	"[gal_br]": {4.54609e-3, powers{meter: 3}, false},
}

// habits are what people write, and the code that it stands for.
var habits = map[string]string{
	"in": "[in_i]", "ft": "[ft_i]", "psi": "[psi]",
	"°C": "Cel", "℃": "Cel", "degC": "Cel", "°F": "[degF]", "degF": "[degF]",
	"B": "By", "kB": "kBy", "MB": "MBy", "GB": "GBy", "TB": "TBy",
	"KiB": "KiBy", "MiB": "MiBy", "GiB": "GiBy", "TiB": "TiBy",
	"mmH2O": "mm[H2O]", "cmH2O": "cm[H2O]", "mH2O": "m[H2O]", "mmHg": "mm[Hg]",
}

// prefixes of metric units; both letters for micro are in use.
var prefixes = []struct {
	sign   string
	factor float64
}{
	{"Ti", 1 << 40}, {"Gi", 1 << 30}, {"Mi", 1 << 20}, {"Ki", 1 << 10}, {"da", 10},
	{"T", 1e12}, {"G", 1e9}, {"M", 1e6}, {"k", 1e3}, {"h", 1e2}, {"d", 0.1}, {"c", 1e-2},
	{"m", 1e-3}, {"u", 1e-6}, {"µ", 1e-6}, {"μ", 1e-6}, {"n", 1e-9}, {"p", 1e-12},
}

// maxUnit is the longest unit text that is looked at, in bytes.
const maxUnit = 40

// UnitFor reads a unit: value in SI units (degrees Celsius for a Temperature,
// a fraction for a Percent) = number·Factor + Offset. The error is a *Mistake
// that says what the text means instead and what to write.
func UnitFor(text string, want Dimension) (Unit, error) {
	if !want.known() {
		return Unit{}, unknownDimension()
	}
	d := &byDimension[want]
	if text == "" {
		return Unit{}, &Mistake{"the unit is missing", fmt.Sprintf("write %s such as %q", d.name, d.example)}
	}
	a, ok := product(text)
	switch {
	case !ok:
		return Unit{}, unknownUnit(text, want)
	case a.powers != d.powers || plain(text) && want == Percent:
		return Unit{}, &Mistake{fmt.Sprintf("%s is not the unit of %s", text, d.name), remedyUnit(want)}
	}
	u := Unit{Text: text, Factor: a.factor}
	if want == Temperature {
		u.Offset = temperatureOffset(text)
	}
	return u, nil
}

func unknownDimension() *Mistake {
	return &Mistake{"the dimension asked for is unknown", "ask for one of the constants"}
}

// plain reports the unit one, which says nothing.
func plain(text string) bool { return text == "1" }

// temperatureOffset is the temperature in degrees Celsius at which the scale
// of a unit has its zero.
func temperatureOffset(text string) float64 {
	if code, ok := habits[text]; ok {
		text = code
	}
	switch text {
	case "Cel":
		return 0
	case "[degF]":
		return -32 * 5.0 / 9
	}
	return -273.15
}

// product reads atoms joined by '.' and '/', each with a prefix and an
// exponent: "m3/h", "kg.m-3", "mPa.s".
func product(text string) (atom, bool) {
	all := atom{factor: 1}
	if text == "" || len(text) > maxUnit {
		return all, false
	}
	for sign := int8(1); ; {
		end := strings.IndexAny(text, "./")
		part := text
		if end >= 0 {
			part = text[:end]
		}
		a, ok := power(part)
		if !ok {
			return all, false
		}
		all.times(a, sign)
		if end < 0 {
			return all, sane(all)
		}
		sign = 1
		if text[end] == '/' {
			sign = -1
		}
		text = text[end+1:]
	}
}

// sane refuses a factor that has run out of the range of a float64.
func sane(a atom) bool { return a.factor > 1e-60 && a.factor < 1e60 }

// times multiplies by a to the power n.
func (all *atom) times(a atom, n int8) {
	for range max(n, 0) {
		all.factor *= a.factor
	}
	for range max(-n, 0) {
		all.factor /= a.factor
	}
	all.powers.meter += n * a.powers.meter
	all.powers.kilogram += n * a.powers.kilogram
	all.powers.second += n * a.powers.second
	all.powers.kelvin += n * a.powers.kelvin
	all.powers.ampere += n * a.powers.ampere
	all.powers.byte += n * a.powers.byte
}

// power reads an atom with an exponent: "m3", "s-1", "m³".
func power(part string) (atom, bool) {
	if a, ok := prefixed(part); ok {
		return a, true
	}
	base, n := exponent(part)
	if n == 0 {
		return atom{}, false
	}
	a, ok := prefixed(base)
	all := atom{factor: 1}
	all.times(a, n)
	return all, ok
}

// exponent cuts an exponent from -4 to 4 off the end; 0 means there is none.
func exponent(part string) (string, int8) {
	if base, ok := strings.CutSuffix(part, "²"); ok {
		return base, 2
	}
	if base, ok := strings.CutSuffix(part, "³"); ok {
		return base, 3
	}
	last := len(part) - 1
	if last < 1 || part[last] < '1' || part[last] > '4' {
		return part, 0
	}
	base, n := part[:last], int8(part[last]-'0')
	if b, ok := strings.CutSuffix(base, "-"); ok {
		return b, -n
	}
	return strings.TrimSuffix(base, "^"), n
}

// prefixed reads one atom, a habit of the trade or a metric atom with its
// prefix. The whole text goes first: "min" is no milli-inch.
func prefixed(text string) (atom, bool) {
	if code, ok := habits[text]; ok {
		text = code
	}
	if a, ok := atoms[text]; ok {
		return a, true
	}
	for _, p := range prefixes {
		rest, ok := strings.CutPrefix(text, p.sign)
		if !ok {
			continue
		}
		if a, found := atoms[rest]; found && a.metric {
			a.factor *= p.factor
			return a, true
		}
	}
	return atom{}, false
}

// unknownUnit says what may have been meant.
func unknownUnit(text string, want Dimension) *Mistake {
	wrong := fmt.Sprintf("%s is not a unit", quoted(text))
	for _, known := range commonUnits[want] {
		if strings.EqualFold(known, text) {
			return &Mistake{wrong, fmt.Sprintf("write %s, capital and small letters matter", known)}
		}
	}
	return &Mistake{wrong, remedyUnit(want)}
}

// commonUnits are named in remedies.
var commonUnits = [dimensions][]string{
	None:                  {"1"},
	Percent:               {"%", "[ppm]"},
	Length:                {"mm", "cm", "m", "in"},
	Temperature:           {"Cel", "°C", "K", "degF"},
	TemperatureDifference: {"K", "Cel", "degF"},
	TemperatureRate:       {"K/s", "K/min", "K/h"},
	Time:                  {"ms", "s", "min", "h", "d"},
	VolumeFlow:            {"L/min", "L/h", "mL/s", "m3/h", "m3/s"},
	Volume:                {"mL", "L", "m3"},
	Mass:                  {"g", "kg"},
	Velocity:              {"m/s", "cm/s", "mm/s"},
	Pressure:              {"Pa", "kPa", "mbar", "bar", "mm[H2O]"},
	Voltage:               {"mV", "uV", "V"},
	Current:               {"mA", "A"},
	Density:               {"kg/m3", "g/cm3"},
	DynamicViscosity:      {"mPa.s", "Pa.s", "cP"},
	KinematicViscosity:    {"mm2/s", "m2/s", "cSt"},
	Size:                  {"MB", "GB", "GiB"},
}

func remedyUnit(want Dimension) string {
	return "write " + oneOf(commonUnits[want])
}
