package pipe

import (
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// HeatLost is the contribution to the temperature for a Reynolds number that is
// to hold along the whole tube, not at its inlet: the water cools by a fall in
// kelvin (see Cooling), so the truth lies anywhere between inlet and that, limits
// of error taken as rectangular. The state's Reynolds number is that at the
// inlet and does not contain it.
func HeatLost(fall float64) uncertainty.Contribution {
	return uncertainty.Contribution{Name: "heat lost along the tube", U: math.Abs(fall) / math.Sqrt(3), Sensitivity: 1}
}

// OtherWater is the contribution to the flow, in m³/s, of a meter whose water has
// another temperature than the tube's: the mass is the same, so the volume
// differs by the ratio of densities. The difference is not corrected for and is
// taken as limits of error. Temperatures in degrees Celsius; an error outside
// the liquid.
func OtherWater(flow, meterCelsius, tubeCelsius float64) (uncertainty.Contribution, error) {
	meter, err := water.At(meterCelsius)
	if err != nil {
		return uncertainty.Contribution{}, fmt.Errorf("water in the meter: %w", err)
	}
	tube, err := water.At(tubeCelsius)
	if err != nil {
		return uncertainty.Contribution{}, fmt.Errorf("water in the tube: %w", err)
	}
	difference := flow * (meter.Density/tube.Density - 1)
	return uncertainty.Contribution{Name: "water in the meter", X: flow, U: math.Abs(difference) / math.Sqrt(3), Sensitivity: 1}, nil
}
