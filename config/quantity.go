package config

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"flowrigd/calc/uncertainty"
)

// Mistake is what is wrong with a text, and what to write instead.
type Mistake struct{ Wrong, Remedy string }

// Error is `what is wrong; what to write instead`.
func (m *Mistake) Error() string { return m.Wrong + "; " + m.Remedy }

// coverage is the factor k of what stands behind ±.
const coverage = 2

// maxQuantity is the longest text of a quantity, in bytes.
const maxQuantity = 200

// ParseQuantity reads `number unit`, `number unit ± number unit` or
// `number unit ± number %` (also +/-). The value comes in SI units, degrees
// Celsius for a Temperature, a fraction for a Percent. What follows ± is an
// expanded uncertainty with k = 2, or, with "(limits)" behind it, the
// half-width of a rectangular distribution. The error is a *Mistake.
func ParseQuantity(text string, want Dimension) (uncertainty.Value, error) {
	v, m := parseQuantity(text, want)
	if m != nil {
		return uncertainty.Value{}, &Mistake{quoted(text) + ": " + m.Wrong, m.remedyFor(text, want)}
	}
	return v, nil
}

// remedyFor is what to write instead: the person's own text put right, where
// that can be told.
func (m *Mistake) remedyFor(text string, want Dimension) string {
	if len(text) > maxQuantity || !want.known() {
		return m.Remedy
	}
	fixed := repaired(text, want, "")
	switch {
	case fixed == "":
		_, unit := splitUnit(byDimension[want].example)
		if fixed = repaired(text, want, unit); fixed != "" {
			return fmt.Sprintf("write the unit, such as %q", fixed)
		}
		return m.Remedy
	case thousands.MatchString(text):
		return fmt.Sprintf("write a decimal point, such as %q, or leave the comma out where it parts thousands", fixed)
	case strings.Contains(text, ","):
		return fmt.Sprintf("write a decimal point, such as %q", fixed)
	}
	return fmt.Sprintf("write %q", fixed)
}

// thousands is a number whose comma may part thousands.
var thousands = regexp.MustCompile(`(^|[^0-9])[1-9][0-9]{0,2}(,[0-9]{3})+([^0-9]|$)`)

// HalfWidth is what stood behind ± in the text of a value, in the unit of U.
func HalfWidth(v uncertainty.Value) float64 {
	if v.Shape == uncertainty.Rectangular {
		return v.U * math.Sqrt(3)
	}
	return coverage * v.U
}

func parseQuantity(text string, want Dimension) (uncertainty.Value, *Mistake) {
	var none uncertainty.Value
	if !want.known() {
		return none, unknownDimension()
	}
	if len(text) > maxQuantity {
		return none, &Mistake{"longer than a quantity can be", remedyQuantity(want)}
	}
	value, spread, limits, m := split(tidy(text))
	if m != nil {
		return none, m
	}
	x, m := plainQuantity(value, want)
	if m != nil || spread == "" {
		return uncertainty.Value{X: x}, m
	}
	half, m := halfWidth(spread, x, want)
	switch {
	case m != nil:
		return none, m
	case limits:
		return uncertainty.Limits(x, half), nil
	}
	return uncertainty.Expanded(x, half, coverage), nil
}

// tidy makes one kind of space, minus and plus-minus of what keyboards and
// documents have.
func tidy(text string) string {
	text = strings.ReplaceAll(text, "+/-", "±")
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case r == '\u2212' || r == '\u2013': // minus and en dash
			return '-'
		case r == 'º' || r == '˚': // ordinal and ring, which keyboards have for the degree
			return '°'
		}
		return r
	}, text)
	return strings.TrimSpace(text)
}

// split takes the value from what follows ±.
func split(text string) (value, spread string, limits bool, m *Mistake) {
	text, limits = strings.CutSuffix(text, "(limits)")
	value, spread, found := strings.Cut(text, "±")
	value, spread = strings.TrimSpace(value), strings.TrimSpace(spread)
	switch {
	case limits && !found:
		m = &Mistake{"(limits) without a ±", "write ± and the limits of error before it"}
	case found && spread == "":
		m = &Mistake{"nothing stands behind ±", "write a number and a unit, such as ± 0.05 mm, or leave ± out"}
	case strings.Contains(spread, "±"):
		m = &Mistake{"more than one ±", "write one"}
	}
	return value, spread, limits, m
}

func plainQuantity(text string, want Dimension) (float64, *Mistake) {
	number, unit := cutNumber(text)
	x, err := strconv.ParseFloat(number, 64)
	switch {
	case math.IsInf(x, 0):
		return 0, &Mistake{"the number is too large", remedyQuantity(want)}
	case err != nil:
		return 0, &Mistake{"no number at the beginning", remedyQuantity(want)}
	}
	if want == None && unit == "" {
		return x, nil
	}
	if unit != "" && !strings.HasPrefix(unit, " ") {
		return 0, noSpace(number, unit, want)
	}
	u, err := UnitFor(strings.TrimSpace(unit), want)
	if err != nil {
		return 0, err.(*Mistake)
	}
	x = scaled(x, u.Factor) + u.Offset
	if math.IsInf(x, 0) {
		return 0, &Mistake{"the number is too large", remedyQuantity(want)}
	}
	return x, nil
}

// scaled is x·factor, by division where the factor is one part of a whole
// number: 13 mm is then the float64 nearest to 0.013 m.
func scaled(x, factor float64) float64 {
	parts := math.Round(1 / factor)
	if parts > 1 && parts < 1<<53 && math.Abs(parts*factor-1) < 4e-16 {
		return x / parts
	}
	return x * factor
}

// noSpace tells a unit that clings to its number from a number that is none.
func noSpace(number, unit string, want Dimension) *Mistake {
	if _, err := UnitFor(unit, want); err == nil {
		return &Mistake{"no space between number and unit", fmt.Sprintf("write %q", number+" "+unit)}
	}
	if unit[0] == ',' {
		return &Mistake{"a comma in the number", fmt.Sprintf("write a decimal point, such as %q", byDimension[want].example)}
	}
	return &Mistake{quoted(number+unit) + " is not a number with a unit", remedyQuantity(want)}
}

// decimal is a decimal number at the front of a text; it may be empty.
var decimal = regexp.MustCompile(`^[-+]?[0-9]*(\.[0-9]*)?([eE][-+]?[0-9]+)?`)

// cutNumber takes a decimal number off the front of a text.
func cutNumber(text string) (number, rest string) {
	end := len(decimal.FindString(text))
	return text[:end], text[end:]
}

// halfWidth reads what follows ±, in the unit of the value's differences.
func halfWidth(text string, x float64, want Dimension) (float64, *Mistake) {
	_, unit := cutNumber(text)
	relative := strings.TrimSpace(unit) == "%" && want != Percent
	of, dimension := 1.0, want.difference()
	switch {
	case relative && want == Temperature:
		return 0, &Mistake{"a percentage of a temperature depends on where its scale begins", "write ± in kelvin, such as ± 0.5 K"}
	case relative:
		of, dimension = math.Abs(x), Percent
	}
	half, m := plainQuantity(text, dimension)
	half *= of
	switch {
	case m != nil && relative:
		return 0, m
	case m != nil:
		return 0, &Mistake{"behind ±: " + m.Wrong, m.Remedy}
	case half < 0:
		return 0, &Mistake{"a negative number behind ±", "write it without the minus"}
	case math.IsInf(half, 0):
		return 0, &Mistake{"the number behind ± is too large", "write a smaller one"}
	}
	return half, nil
}

func remedyQuantity(want Dimension) string {
	return fmt.Sprintf("write %s such as %q", byDimension[want].name, byDimension[want].example)
}

// quoted shows a text of the file, cut where it is long.
func quoted(text string) string { return strconv.Quote(cut(text)) }

// cut is the beginning of a text that is too long for a message.
func cut(text string) string {
	const most = 60
	if len(text) <= most {
		return text
	}
	end := most
	for end > 0 && !utf8.RuneStart(text[end]) {
		end--
	}
	return text[:end] + "…"
}
