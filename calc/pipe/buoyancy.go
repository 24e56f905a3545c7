package pipe

import (
	"math"

	"flowrigd/calc/water"
)

const (
	// outerCoefficient is the heat transfer from a bare tube to still air by
	// convection and radiation, W/(m² K); common practice, no source: 8 to 12.
	outerCoefficient = 10.0
	// nusseltLaminar is the least Nusselt number inside a round tube: developed
	// laminar flow at constant wall temperature (3.657, Graetz's problem).
	nusseltLaminar = 3.66
	// mixedAbove is the size of the Richardson number above which buoyancy no
	// longer may be neglected beside forced flow; common practice, no source.
	// In a laminar tube it is lax: Gr/Re tells there.
	mixedAbove = 0.1
)

// Richardson is the Richardson number g·β·ΔT·D/v² of water that is warmer than
// the wall by a difference in kelvin; bore in metres, velocity in m/s. With a
// vertical tube it is positive where buoyancy at the wall aids the flow and
// negative where it opposes it: water cooled at the wall sinks, so it aids a
// downward flow. In a horizontal tube the secondary flow is across and the
// number is positive.
func Richardson(o Orientation, expansion, difference, bore, velocity float64) float64 {
	ri := Gravity * expansion * difference * bore / (velocity * velocity)
	switch o {
	case VerticalUp:
		return -ri
	case Horizontal:
		return math.Abs(ri)
	}
	return ri
}

// WallDifference is the difference in kelvin between the water in the middle of
// a bare tube and the wall, for an air temperature: heat flows through the
// water at the wall (Nusselt number 3.66, the least) and then to still air (10
// W/(m² K)); the glass itself is neglected.
func WallDifference(w *water.Properties, bore, celsius, ambient float64) float64 {
	inner := nusseltLaminar * w.Conductivity / bore
	return (celsius - ambient) * outerCoefficient / (outerCoefficient + inner)
}

// Cooling is the fall in kelvin of the water's mixed temperature between inlet
// and outlet of a bare tube in still air (10 W/(m² K) on the bore's surface);
// bore and length in metres, flow in m³/s.
func Cooling(w *water.Properties, bore, length, flow, celsius, ambient float64) float64 {
	units := outerCoefficient * math.Pi * bore * length / (w.Density * flow * w.HeatCapacity)
	return (celsius - ambient) * -math.Expm1(-units)
}
