// Package pipe owns the physics of water that runs through a straight round
// tube: velocity, Reynolds number and its band where the dye is watched, friction,
// entrance length, head, loss coefficient, what buoyancy does to the profile; and the
// uncertainty of what it computes.
//
//	Inputs (with uncertainties) → water at the dye → Pipe.Derive → rows of quantity.Set, and Result (warnings)
//
// It keeps no history: hysteresis of the regime, slopes and steadiness live
// elsewhere. It does not say what the dye shows: careful entries stay laminar
// far above the limits.
package pipe

import (
	"errors"
	"fmt"
	"math"

	"flowrigd/calc/heat"
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
	Outer                   uncertainty.Value // outer diameter; none (0) means that no heat is reckoned with
	WatchedAt               uncertainty.Value // where the dye is watched, from the inlet, up to Length
	Drop                    uncertainty.Value // height of the level datum above the outlet
	Room                    Input             // °C, taken where Inputs has no ambient temperature
	ViscosityExtra          uncertainty.Value // what hardness and dye may add to the viscosity: U relative, X 0
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
	wall                        *heat.Wall // nil where no heat is reckoned with
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
		surroundings(rig),
	)
	if err != nil {
		return nil, err
	}
	wall, err := wallOf(rig)
	if err != nil {
		return nil, err
	}
	return &Pipe{
		wall:          wall,
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

func surroundings(rig Rig) error {
	// Where the dye is watched may be the outlet itself, however the length was rounded.
	err := within("watched_at", rig.WatchedAt, 0, rig.Length.X*(1+1e-9), "give the place along the tube, from its inlet")
	if room := rig.Room; room.Known && !inRoom(room.X) {
		err = errors.Join(err, fmt.Errorf("room: %g °C is outside %g to %g °C: give the temperature of the air around the tube", room.X, float64(roomLow), float64(roomHigh)))
	}
	if u := rig.ViscosityExtra.U; u < 0 || u > 0.5 {
		err = errors.Join(err, fmt.Errorf("viscosity_extra: a standard uncertainty of %g is outside 0 to 0.5: give what hardness and dye add, such as 0.1 %%", u))
	}
	return err
}

// The air around a tube, °C.
const roomLow, roomHigh = -20, 60

func inRoom(celsius float64) bool { return celsius >= roomLow && celsius <= roomHigh }

func wallOf(rig Rig) (*heat.Wall, error) {
	if rig.Outer == (uncertainty.Value{}) {
		return nil, nil
	}
	return heat.New(heat.Tube{Bore: rig.Bore, Outer: rig.Outer, Length: rig.Length, Vertical: rig.Orientation != Horizontal})
}
