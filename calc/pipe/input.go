package pipe

import (
	"math"

	"flowrigd/calc/uncertainty"
)

// Input is one measured quantity. Its zero value is unknown. A standard
// uncertainty U that is NaN was never stated: the quantity serves, and every
// uncertainty and probability that rests on it is unknown.
type Input struct {
	uncertainty.Value
	OtherU float64 // standard uncertainty beside the instrument's own (scatter, lag, pulses), normal
	Known  bool
}

// Inputs are what a state is derived from: m³/s, degrees Celsius and metres.
type Inputs struct {
	Flow        Input
	Temperature Input // at the inlet of the tube
	Level       Input // above the datum
	Ambient     Input // air temperature
	Meter       Input // of the water in the flow meter; unknown where that is the tube's
	// OnTheWay is by how many kelvin the water at the dye left the inlet warmer than
	// the inlet's water is now: X what is known of it, U its standard uncertainty.
	OnTheWay uncertainty.Value
}

// StandardU is the combined standard uncertainty of the input.
func (in Input) StandardU() float64 { return uncertainty.Quadrature(in.U, in.OtherU) }

// usable refuses numbers that would turn into a confident wrong answer.
func (in Input) usable() bool {
	return in.Known && !math.IsNaN(in.X) && !math.IsInf(in.X, 0) && !math.IsInf(in.StandardU(), 0)
}
