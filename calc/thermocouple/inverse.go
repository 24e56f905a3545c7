package thermocouple

import (
	"fmt"
	"math"
)

// Temperature is the temperature in degrees Celsius of a junction that gives a
// voltage in millivolts against a reference junction at 0 °C. It solves the
// reference function to better than 1 µK; the printed inverse polynomials are
// off by up to 0.05 K and are not used.
func (t Type) Temperature(millivolts float64) (float64, error) {
	r, err := t.reference()
	if err != nil {
		return 0, err
	}
	low, high := r.lower.low, r.upper.high
	least, _ := r.at(low)
	most, _ := r.at(high)
	if !(millivolts >= least && millivolts <= most) {
		return 0, fmt.Errorf("type %v: %.6g mV is outside %.4f to %.4f mV: check the wiring and the type", t, millivolts, least, most)
	}
	return r.solve(millivolts, low, high), nil
}

// solve finds the root between low and high by Newton's method, kept in the
// bracket: the functions rise everywhere in their range.
func (r *reference) solve(millivolts, low, high float64) float64 {
	const enough = 1e-9 // K
	x := math.Min(high, math.Max(low, millivolts/0.04))
	for range 100 {
		e, slope := r.at(x)
		if e > millivolts {
			high = x
		} else {
			low = x
		}
		next := x - (e-millivolts)/slope
		if !(next >= low && next <= high) {
			next = (low + high) / 2
		}
		if math.Abs(next-x) < enough {
			return next
		}
		x = next
	}
	return x
}

// Compensated is the temperature in degrees Celsius of the measuring junction
// from the voltage in millivolts measured at a cold junction of a temperature in
// degrees Celsius. Voltages are added, never temperatures.
func (t Type) Compensated(millivolts, coldCelsius float64) (float64, error) {
	cold, err := t.EMF(coldCelsius)
	if err != nil {
		return 0, fmt.Errorf("cold junction: %w", err)
	}
	return t.Temperature(millivolts + cold)
}

// CompensatedU is the standard uncertainty in kelvin of a compensated
// temperature: from the voltage's in millivolts and the cold junction's in
// kelvin, which counts by the ratio of the two sensitivities. The wire's own
// tolerance is not in it.
func (t Type) CompensatedU(celsius, coldCelsius, millivoltsU, coldU float64) (float64, error) {
	at, err := t.Sensitivity(celsius)
	if err != nil {
		return 0, err
	}
	cold, err := t.Sensitivity(coldCelsius)
	if err != nil {
		return 0, fmt.Errorf("cold junction: %w", err)
	}
	return math.Hypot(millivoltsU/at, coldU*cold/at), nil
}
