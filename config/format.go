package config

import (
	"math"
	"strconv"
	"strings"
)

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
