package web

import (
	"math"
	"strconv"
	"strings"

	"flowrigd/calc/quantity"
)

// unknown is what the page shows for a value that nobody knows.
const unknown = "—"

// displayUnit is how the page writes a quantity: the unit that is used at the
// bench, and the decimals that a person can use.
type displayUnit struct {
	factor   float64
	offset   float64
	unit     string
	decimals int
}

var (
	litresPerMinute = displayUnit{60000, 0, "L/min", 3}
	degrees         = displayUnit{1, 0, "°C", 1}
	millimetres     = displayUnit{1000, 0, "mm", 1}
)

// benchUnit is the unit of the bench for a quantity.
func benchUnit(id quantity.ID) displayUnit {
	switch quantity.Table[id].Unit {
	case "cubic_meters_per_second":
		return litresPerMinute
	case "celsius":
		return degrees
	case "meters":
		return millimetres
	case "pascals":
		return displayUnit{1, 0, "Pa", 0}
	case "kg_per_cubic_meter":
		return displayUnit{1, 0, "kg/m³", 2}
	case "pascal_seconds":
		return displayUnit{1000, 0, "mPa·s", 4}
	case "square_meters_per_second":
		return displayUnit{1e6, 0, "mm²/s", 4}
	case "meters_per_second":
		return displayUnit{1, 0, "m/s", 4}
	case "kelvin_per_second":
		return displayUnit{60, 0, "K/min", 2}
	}
	return plainUnit(id)
}

func plainUnit(id quantity.ID) displayUnit {
	switch id {
	case quantity.Reynolds, quantity.ReynoldsUncertainty:
		return displayUnit{1, 0, "", 0}
	case quantity.SecondsToOverheat:
		return displayUnit{1, 0, "s", 0}
	}
	return displayUnit{1, 0, "", 4}
}

func (p displayUnit) of(v float64) float64 { return v*p.factor + p.offset }

func (p displayUnit) number(v float64) string { return group(p.of(v), p.decimals) }

// text is the number with its unit.
func (p displayUnit) text(v float64) string {
	if p.unit == "" {
		return p.number(v)
	}
	return p.number(v) + "\u00a0" + p.unit
}

// bench writes a quantity of a set with its unit; unknown is a dash.
func bench(s *quantity.Set, id quantity.ID) string {
	v, known := s.Get(id)
	switch {
	case quantity.Table[id].Kind == quantity.Word:
		return s.Band().String()
	case !known:
		return unknown
	case quantity.Table[id].Kind == quantity.Boolean && v != 0:
		return "yes"
	case quantity.Table[id].Kind == quantity.Boolean:
		return "no"
	}
	return benchUnit(id).text(v)
}

// group writes a number with thin spaces between thousands, as ISO 80000-1
// does, and a true minus.
func group(v float64, decimals int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, rest, _ := strings.Cut(text, ".")
	var b strings.Builder
	if v < 0 && strings.Trim(text, "0.") != "" {
		b.WriteString("\u2212")
	}
	for i, digit := range whole {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteString("\u202f")
		}
		b.WriteRune(digit)
	}
	if rest != "" {
		b.WriteString("." + rest)
	}
	return b.String()
}

// pair rounds an expanded uncertainty to two digits and the value to the same
// place, as JCGM 100 7.2.6 advises.
func pair(v, u float64) (value, uncertainty string) {
	if !(u > 0) || math.IsInf(u, 0) {
		return group(v, 0), ""
	}
	place := int(math.Floor(math.Log10(u))) - 1
	step := math.Pow(10, float64(place))
	decimals := max(0, -place)
	return group(math.Round(v/step)*step, decimals), group(math.Round(u/step)*step, decimals)
}

// percent writes a probability without claiming certainty.
func percent(p float64) string {
	switch {
	case p > 0.999:
		return ">\u202f99.9\u00a0%"
	case p < 0.001:
		return "<\u202f0.1\u00a0%"
	case p > 0.99 || p < 0.01:
		return group(100*p, 1) + "\u00a0%"
	}
	return group(100*p, 0) + "\u00a0%"
}
