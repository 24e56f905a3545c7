package water

import (
	"fmt"
	"math"
)

// RangeError says that an input lies outside what a formula holds for.
type RangeError struct {
	Quantity  string
	Value     float64
	Unit      string
	Low, High float64
	Remedy    string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s: %.6g %s is outside %.5g to %.5g %s: %s", e.Quantity, e.Value, e.Unit, e.Low, e.High, e.Unit, e.Remedy)
}

func liquidRemedy(celsius float64) string {
	switch {
	case celsius < Freezing:
		return "that would be ice; check the sensor, or give the temperature of liquid water"
	case celsius > BoilingHere:
		return "that would be steam; check the sensor, or give the temperature of liquid water"
	}
	return "not a number; give the temperature of liquid water"
}

// Altitudes that Pressure accepts, metres.
const (
	LowestAltitude  = -2000.0
	HighestAltitude = 11000.0
)

// Pressure is the air pressure in pascals at an altitude in metres
// (geopotential), by the standard atmosphere below 11 km (ISO 2533:1975).
// Weather moves it by some 3 % either way, the boiling temperature by 1 K.
func Pressure(altitude float64) (float64, error) {
	if !(altitude >= LowestAltitude && altitude <= HighestAltitude) {
		return 0, &RangeError{Quantity: "altitude", Value: altitude, Unit: "m", Low: LowestAltitude, High: HighestAltitude, Remedy: "give the height of the bench above sea level"}
	}
	const (
		seaLevel    = 101325.0  // Pa
		warm        = 288.15    // K at sea level
		lapse       = 0.0065    // K/m
		gravity     = 9.80665   // m/s²
		airConstant = 287.05287 // J/(kg K)
	)
	return seaLevel * math.Pow(1-lapse*altitude/warm, gravity/(lapse*airConstant)), nil
}

// Boiling is the boiling temperature of water, degrees Celsius, at an altitude
// in metres in the standard atmosphere.
func Boiling(altitude float64) (float64, error) {
	p, err := Pressure(altitude)
	if err != nil {
		return 0, fmt.Errorf("boiling temperature: %w", err)
	}
	return BoilingAt(p)
}

// BoilingAt is the boiling temperature of water, degrees Celsius, at a pressure
// in pascals from 611.213 Pa to 22.064 MPa: the backward saturation equation of
// region 4, IAPWS R7-97(2012), equation 31.
func BoilingAt(pascals float64) (float64, error) {
	const low, high = 611.213, 22.064e6
	if !(pascals >= low && pascals <= high) {
		return 0, &RangeError{Quantity: "pressure", Value: pascals, Unit: "Pa", Low: low, High: high, Remedy: "give an absolute pressure at which liquid and steam are together"}
	}
	const n1, n2, n3, n4, n5 = 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7
	const n6, n7, n8, n9, n10 = 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3
	beta := math.Sqrt(math.Sqrt(pascals / 1e6))
	e := beta*beta + n3*beta + n6
	f := n1*beta*beta + n4*beta + n7
	g := n2*beta*beta + n5*beta + n8
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	s := n10 + d
	return (s-math.Sqrt(s*s-4*(n9+n10*d)))/2 - zeroCelsius, nil
}
