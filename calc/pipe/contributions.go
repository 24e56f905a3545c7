package pipe

import (
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// Lag is the contribution of a sensor that follows with a time constant in
// seconds while its quantity changes at a rate per second. A first-order sensor
// behind a ramp is late by rate × lag. The error is not corrected for, and its
// whole size stands as standard uncertainty, so that ±2u still covers 95 % when
// it adds to the others with one sign.
func Lag(rate, lag float64) uncertainty.Contribution {
	return uncertainty.Contribution{Name: "sensor lag", X: 0, U: math.Abs(rate * lag), Sensitivity: 1}
}

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

// Pulses is the contribution to the flow, in m³/s, of counting whole pulses over
// a window in seconds. Begin and end of the window each cut one pulse at a
// random place; the difference of the two is triangular over ±1 pulse, so u is a
// pulse over √6. An error unless both are above 0.
func Pulses(perLitre, window float64) (uncertainty.Contribution, error) {
	if !(perLitre > 0 && window > 0) {
		return uncertainty.Contribution{}, fmt.Errorf("pulses: %g per litre over %g s: both must be above 0", perLitre, window)
	}
	pulse := 1e-3 / perLitre / window
	return uncertainty.Contribution{Name: "pulses per window", U: pulse / math.Sqrt(6), Sensitivity: 1}, nil
}
