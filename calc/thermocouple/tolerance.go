package thermocouple

import (
	"fmt"
	"math"
)

// tolerance is a row of the standard: the greater of a constant and a share of
// the temperature, within a range.
type tolerance struct{ constant, share, low, high float64 }

// Tolerance is the half-width in kelvin of the wire's limits of error at a
// temperature in degrees Celsius for class 1 or 2 of IEC 60584-1:2013 (read in
// secondary tabulations of IEC 60584-2:1982, which it took over). An error
// outside the class's range.
func (t Type) Tolerance(class int, celsius float64) (float64, error) {
	row, err := t.class(class)
	if err != nil {
		return 0, err
	}
	if !(celsius >= row.low && celsius <= row.high) {
		return 0, fmt.Errorf("type %v class %d: %.6g °C is outside %g to %g °C: give the accuracy yourself", t, class, celsius, row.low, row.high)
	}
	return math.Max(row.constant, row.share*math.Abs(celsius)), nil
}

func (t Type) class(class int) (tolerance, error) {
	if _, err := t.reference(); err != nil {
		return tolerance{}, err
	}
	if class != 1 && class != 2 {
		return tolerance{}, fmt.Errorf("type %v: class %d is none of 1, 2", t, class)
	}
	row := tolerance{constant: 1.5, share: 0.004, low: -40, high: 1000}
	if class == 2 {
		row = tolerance{constant: 2.5, share: 0.0075, low: -40, high: 1200}
	}
	switch t {
	case T:
		row.constant, row.high = 0.5*float64(class), 350
	case J:
		row.high = 750
	}
	return row, nil
}
