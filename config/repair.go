package config

import (
	"regexp"
	"strings"
)

// repaired is a quantity's text as it was probably meant, with all that the
// person wrote of it, ± above all; "" where that cannot be told. Where a unit
// stands neither before ± nor tells itself from behind it, fallback is taken.
func repaired(text string, want Dimension, fallback string) string {
	text = plusMinus.ReplaceAllString(tidy(text), "±")
	text = decimalComma.ReplaceAllString(text, "$1.$2")
	text, limits := strings.CutSuffix(text, "(limits)")
	value, spread, found := strings.Cut(text, "±")
	number, unit := splitUnit(value)
	half, halfUnit := splitUnit(spread)
	switch {
	case !found:
	case unit == "" && halfUnit != "" && halfUnit != "%" && want != Temperature:
		unit = halfUnit
	case unit == "":
		unit = fallback
	}
	if found && halfUnit == "" && unit != "" {
		halfUnit = unit
		if want == Temperature && unit != "degF" && unit != "°F" {
			halfUnit = "K"
		}
	}
	fixed := strings.TrimSpace(number + " " + unit)
	if found {
		fixed += " ± " + strings.TrimSpace(half+" "+halfUnit)
	}
	if limits {
		fixed += " (limits)"
	}
	if _, m := parseQuantity(fixed, want); m != nil {
		return ""
	}
	return fixed
}

var (
	plusMinus    = regexp.MustCompile(`\+ ?/? ?-`)
	decimalComma = regexp.MustCompile(`([0-9]),([0-9])`)
)

// splitUnit parts a number from its unit.
func splitUnit(text string) (number, unit string) {
	number, unit = cutNumber(strings.TrimSpace(text))
	return number, strings.TrimSpace(unit)
}
