// Package thermocouple owns the ITS-90 reference functions of types K, T, J and
// N in both directions, the cold junction, and the tolerances of the wire.
//
//	millivolts measured + E(cold junction) → Newton on the reference function → degrees Celsius
//
// It does not tell a broken wire: an open junction that is bridged reads about
// the cold junction's temperature, and only a transmitter's flag or the
// implausible value tells.
package thermocouple

import (
	"fmt"
	"math"
	"strings"
)

// Type is a thermocouple type. Its zero value is none.
type Type uint8

// The types.
const (
	K Type = iota + 1
	T
	J
	N
)

// Types lists the letters that Parse knows.
const Types = "K, T, J, N"

// types holds the letter and the reference function of each type.
var types = [...]struct {
	letter    string
	reference *reference
}{{"none", nil}, K: {"K", &typeK}, T: {"T", &typeT}, J: {"J", &typeJ}, N: {"N", &typeN}}

// Parse reads a type's letter, in either case.
func Parse(letter string) (Type, error) {
	for _, t := range []Type{K, T, J, N} {
		if strings.EqualFold(letter, t.String()) {
			return t, nil
		}
	}
	return 0, fmt.Errorf("thermocouple type: %q is none of %s", letter, Types)
}

// String is the type's letter.
func (t Type) String() string {
	if int(t) < len(types) {
		return types[t].letter
	}
	return types[0].letter
}

func (t Type) reference() (*reference, error) {
	if t >= K && t <= N {
		return types[t].reference, nil
	}
	return nil, fmt.Errorf("thermocouple type: none given: choose one of %s", Types)
}

// Range is the span of the type's reference function, degrees Celsius.
func (t Type) Range() (low, high float64, err error) {
	r, err := t.reference()
	if err != nil {
		return 0, 0, err
	}
	return r.lower.low, r.upper.high, nil
}

// EMF is the voltage in millivolts of a junction at a temperature in degrees
// Celsius against a reference junction at 0 °C.
func (t Type) EMF(celsius float64) (float64, error) {
	r, err := t.reference()
	if err != nil {
		return 0, err
	}
	if !(celsius >= r.lower.low && celsius <= r.upper.high) {
		return 0, fmt.Errorf("type %v: %.6g °C is outside %g to %g °C: check the sensor", t, celsius, r.lower.low, r.upper.high)
	}
	e, _ := r.at(celsius)
	return e, nil
}

// Sensitivity is the Seebeck coefficient in mV/K at a temperature in degrees
// Celsius.
func (t Type) Sensitivity(celsius float64) (float64, error) {
	if _, err := t.EMF(celsius); err != nil {
		return 0, err
	}
	r, _ := t.reference()
	_, slope := r.at(celsius)
	return slope, nil
}

// at evaluates the reference function and its slope. The lower branch holds up
// to its end, both ends included.
func (r *reference) at(celsius float64) (e, slope float64) {
	b := &r.upper
	if celsius <= r.lower.high {
		b = &r.lower
	}
	for i := len(b.c) - 1; i >= 0; i-- {
		slope = slope*celsius + e
		e = e*celsius + b.c[i]
	}
	if r.bump && b == &r.upper { // type K's exponential a0·exp(a1·(t − a2)²)
		const a0, a1, a2 = 0.1185976, -0.1183432e-3, 126.9686
		bump := a0 * math.Exp(a1*(celsius-a2)*(celsius-a2))
		return e + bump, slope + 2*a1*(celsius-a2)*bump
	}
	return e, slope
}
