// Package resistance owns platinum resistance thermometers by IEC 60751:
// resistance from temperature and back, and the tolerance classes.
//
//	ohms → Temperature (closed form above 0 °C, Newton below) → degrees Celsius
//
// Lead resistance and self-heating are the instrument's affair.
package resistance

import (
	"fmt"
	"math"
)

// Thermometer is a platinum thermometer by its resistance at 0 °C in ohms.
type Thermometer struct{ R0 float64 }

// Parse reads "Pt100" or "Pt1000".
func Parse(name string) (Thermometer, error) {
	switch name {
	case "Pt100":
		return Thermometer{100}, nil
	case "Pt1000":
		return Thermometer{1000}, nil
	}
	return Thermometer{}, fmt.Errorf("resistance thermometer: %q is none of Pt100, Pt1000", name)
}

// The span of IEC 60751, degrees Celsius.
const (
	Lowest  = -200.0
	Highest = 850.0
)

// Coefficients of IEC 60751:2008 (1/°C, 1/°C², 1/°C⁴).
const (
	a = 3.9083e-3
	b = -5.775e-7
	c = -4.183e-12
)

// ratio is R/R0 with its slope in 1/K: 1 + A·t + B·t² above 0 °C, and in
// addition C·(t − 100)·t³ below.
func ratio(t float64) (r, slope float64) {
	r, slope = 1+t*(a+b*t), a+2*b*t
	if t < 0 {
		r += c * (t - 100) * t * t * t
		slope += c * (4*t - 300) * t * t
	}
	return r, slope
}

// Resistance in ohms at a temperature in degrees Celsius, −200 to 850 °C.
func (p Thermometer) Resistance(celsius float64) (float64, error) {
	if err := p.check(celsius); err != nil {
		return 0, err
	}
	r, _ := ratio(celsius)
	return p.R0 * r, nil
}

// Sensitivity in ohms per kelvin at a temperature in degrees Celsius.
func (p Thermometer) Sensitivity(celsius float64) (float64, error) {
	if err := p.check(celsius); err != nil {
		return 0, err
	}
	_, slope := ratio(celsius)
	return p.R0 * slope, nil
}

func (p Thermometer) check(celsius float64) error {
	if !(p.R0 > 0) || math.IsInf(p.R0, 0) {
		return fmt.Errorf("resistance thermometer: %g Ω at 0 °C is not above 0: give 100 or 1000", p.R0)
	}
	if !(celsius >= Lowest && celsius <= Highest) {
		return fmt.Errorf("resistance thermometer: %.6g °C is outside %g to %g °C: check the sensor", celsius, Lowest, Highest)
	}
	return nil
}

// Temperature in degrees Celsius of a resistance in ohms, to better than 1 µK.
func (p Thermometer) Temperature(ohms float64) (float64, error) {
	if err := p.check(0); err != nil {
		return 0, err
	}
	least, _ := ratio(Lowest)
	most, _ := ratio(Highest)
	r := ohms / p.R0
	if !(r >= least && r <= most) {
		return 0, fmt.Errorf("resistance thermometer: %.6g Ω is outside %.2f to %.2f Ω: check the wiring", ohms, least*p.R0, most*p.R0)
	}
	// The closed form of the upper branch is the start below 0 °C as well.
	t := (-a + math.Sqrt(a*a-4*b*(1-r))) / (2 * b)
	for t < 0 {
		at, slope := ratio(t)
		step := (at - r) / slope
		if t -= step; math.Abs(step) < 1e-9 {
			break
		}
	}
	return math.Max(t, Lowest), nil
}

// Tolerance is the half-width in kelvin of the limits of error of a class of
// IEC 60751:2008, "AA", "A", "B" or "C", at a temperature in degrees Celsius.
// The class's own span of temperature is that of a wire-wound sensor.
func Tolerance(class string, celsius float64) (float64, error) {
	var fixed, share, low, high float64
	switch class {
	case "AA":
		fixed, share, low, high = 0.1, 0.0017, -50, 250
	case "A":
		fixed, share, low, high = 0.15, 0.002, -100, 450
	case "B":
		fixed, share, low, high = 0.3, 0.005, -196, 600
	case "C":
		fixed, share, low, high = 0.6, 0.01, -196, 600
	default:
		return 0, fmt.Errorf("resistance thermometer: class %q is none of AA, A, B, C", class)
	}
	if !(celsius >= low && celsius <= high) {
		return 0, fmt.Errorf("resistance thermometer: class %s: %.6g °C is outside %g to %g °C: give the accuracy yourself", class, celsius, low, high)
	}
	return fixed + share*math.Abs(celsius), nil
}
