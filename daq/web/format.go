package web

import (
	"math"
	"strconv"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// unknown is what the page shows for a value that nobody knows.
const unknown = "—"

// displayUnit is how the page writes a quantity: the unit that is used at the
// bench, and the decimals that a person can use.
type displayUnit struct {
	config.Unit
	sign     string
	decimals int
}

// benchUnits are the units of the bench by dimension.
var benchUnits = func() map[config.Dimension]displayUnit {
	units := map[config.Dimension]displayUnit{}
	signs := strings.NewReplacer("Cel", "°C", "2", "²", "3", "³", ".", "·")
	for d, decimals := range map[config.Dimension]int{
		config.VolumeFlow: 3, config.Temperature: 1, config.TemperatureRate: 2, config.Length: 1, config.Pressure: 0, config.Velocity: 4, config.Time: 0,
		config.Density: 2, config.DynamicViscosity: 4, config.KinematicViscosity: 4, config.TemperatureDifference: 2, config.Percent: 1,
	} {
		u, ok := config.BenchUnitOf(d)
		if !ok {
			panic("a dimension without a unit of the bench")
		}
		units[d] = displayUnit{u.Unit, signs.Replace(u.Text), decimals}
	}
	return units
}()

// benchUnit is the unit of the bench for a quantity.
func benchUnit(id quantity.ID) displayUnit {
	if u, ok := benchUnits[config.DimensionOf(id)]; ok {
		return u
	}
	u := displayUnit{Unit: config.Unit{Factor: 1}, decimals: 4}
	if id == quantity.Reynolds || id == quantity.ReynoldsUncertainty {
		u.decimals = 0
	}
	return u
}

func (p displayUnit) of(v float64) float64 { return (v - p.Offset) / p.Factor }

func (p displayUnit) number(v float64) string { return group(p.of(v), p.decimals) }

// text is the number with its unit.
func (p displayUnit) text(v float64) string {
	if p.sign == "" {
		return p.number(v)
	}
	return p.number(v) + "\u00a0" + p.sign
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
