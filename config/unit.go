package config

import (
	"fmt"
	"strings"
)

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
	case a.powers != d.powers || text == "1" && want == Percent:
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

// temperatureOffset is the temperature in degrees Celsius at which the scale
// of a unit has its zero.
func temperatureOffset(text string) float64 {
	if code, ok := unitAliases[text]; ok {
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
			return all, all.factor > 1e-60 && all.factor < 1e60 // else it runs out of a float64
		}
		sign = 1
		if text[end] == '/' {
			sign = -1
		}
		text = text[end+1:]
	}
}

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

// prefixed reads one atom, an alias or a metric atom with its
// prefix. The whole text goes first: "min" is no milli-inch.
func prefixed(text string) (atom, bool) {
	if code, ok := unitAliases[text]; ok {
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

func unknownUnit(text string, want Dimension) *Mistake {
	wrong := fmt.Sprintf("%s is not a unit", quoted(text))
	for _, known := range byDimension[want].common {
		if strings.EqualFold(known, text) {
			return &Mistake{wrong, fmt.Sprintf("write %s, capital and small letters matter", known)}
		}
	}
	if known := misnamedUnits[strings.ToLower(text)]; known != "" {
		if _, err := UnitFor(known, want); err == nil {
			return &Mistake{wrong, "write " + known}
		}
	}
	for _, r := range text {
		if r > 127 && !strings.ContainsRune("°℃µμ²³", r) { // it stands in no unit
			wrong += fmt.Sprintf(": the character %c in it is U+%04X, which may look like another", r, r)
			break
		}
	}
	return &Mistake{wrong, remedyUnit(want)}
}

func remedyUnit(want Dimension) string {
	return "write " + oneOf(byDimension[want].common)
}
