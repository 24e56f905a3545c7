// Package pipe owns the physics of water that runs through a straight round
// tube: velocity, Reynolds number and its band, friction, entrance length,
// head, loss coefficient, buoyancy; and the uncertainty of what it computes.
//
//	Inputs (with uncertainties) → Pipe.Derive → rows of quantity.Set, and Result (warnings)
//
// It keeps no history: hysteresis of the regime, slopes and steadiness live
// elsewhere. It does not say what the dye shows: careful entries stay laminar
// far above the limits.
package pipe

import (
	"errors"
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
)

// Gravity is the standard acceleration of free fall, m/s² (ISO 80000-3); the
// local one differs by up to 0.3 %.
const Gravity = 9.80665

// Orientation is the direction of the flow in space.
type Orientation uint8

// The orientations.
const (
	VerticalDown Orientation = iota
	VerticalUp
	Horizontal
)

// Rig is what is known of the tube and its tank. Lengths are in metres; a
// standard uncertainty of NaN was never stated, as in Input.
type Rig struct {
	Bore, Length, Roughness uncertainty.Value
	Drop                    uncertainty.Value // height of the level datum above the outlet
	Orientation             Orientation
	LaminarBelow            float64 // Reynolds number
	TurbulentAbove          float64 // Reynolds number, not less than LaminarBelow
	FlowMin                 float64 // m³/s, lower end of the meter's range; below it there is no flow
}

// Pipe is a checked Rig with what can be computed once. It is not changed by
// use, so any number of goroutines may share it.
type Pipe struct {
	rig                         Rig
	bore                        float64
	logLaminar, logTurbulent    float64
	relativeBoreU, relativeWall float64 // u(D)/D, ε/D
}

// New checks a rig. The error names every value that is out of range.
func New(rig Rig) (*Pipe, error) {
	err := errors.Join(
		within("bore", rig.Bore, 1e-4, 1, "give the inner diameter of the tube"),
		within("length", rig.Length, 1e-3, 100, "give the length of the tube"),
		within("roughness", rig.Roughness, 0, rig.Bore.X/20, "give the roughness of the wall, 0.0015 mm for drawn glass"),
		within("drop", rig.Drop, -20, 20, "give the height of the level datum above the outlet"),
		limits(rig),
		orientation(rig.Orientation),
	)
	if err != nil {
		return nil, err
	}
	return &Pipe{
		rig:           rig,
		bore:          rig.Bore.X,
		logLaminar:    math.Log(rig.LaminarBelow),
		logTurbulent:  math.Log(rig.TurbulentAbove),
		relativeBoreU: rig.Bore.Relative(),
		relativeWall:  rig.Roughness.X / rig.Bore.X,
	}, nil
}

func within(name string, v uncertainty.Value, low, high float64, remedy string) error {
	if !(v.X >= low && v.X <= high) {
		return fmt.Errorf("%s: %g m is outside %g to %g m: %s", name, v.X, low, high, remedy)
	}
	if v.U < 0 || v.U > high-low {
		return fmt.Errorf("%s: standard uncertainty %g m is outside 0 to %g m: give it smaller than the value", name, v.U, high-low)
	}
	return nil
}

func limits(rig Rig) error {
	const least, most = 1, 1e6
	switch {
	case !(rig.LaminarBelow >= least && rig.LaminarBelow <= most):
		return fmt.Errorf("lower limit: Reynolds number %g is outside %g to %g: give about 2000", rig.LaminarBelow, float64(least), most)
	case !(rig.TurbulentAbove >= rig.LaminarBelow && rig.TurbulentAbove <= most):
		return fmt.Errorf("upper limit: Reynolds number %g is outside %g (the lower limit) to %g: give about 4000", rig.TurbulentAbove, rig.LaminarBelow, most)
	case !(rig.FlowMin >= 0 && rig.FlowMin <= most):
		return fmt.Errorf("least flow: %g m³/s is negative or not a number: give the lower end of the meter's range", rig.FlowMin)
	}
	return nil
}

func orientation(o Orientation) error {
	if o > Horizontal {
		return fmt.Errorf("orientation: %d is none of vertical down, vertical up, horizontal", o)
	}
	return nil
}
