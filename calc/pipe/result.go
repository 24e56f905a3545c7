package pipe

import (
	"strings"

	"flowrigd/calc/quantity"
)

// Result is what Derive knows beyond the table of quantities. NaN is unknown.
type Result struct {
	Warnings   Warnings
	Richardson float64 // signed, see the function of that name
	Cooling    float64 // K, fall of the water's temperature along the tube
	WallShear  float64 // Pa
	// U is the standard uncertainty of each derived quantity for which one can be
	// stated, in the quantity's unit.
	U quantity.Set
}

// Warnings are flags.
type Warnings uint8

// The warnings.
const (
	NotLiquid       Warnings = 1 << iota // the temperature is that of ice or steam
	ReverseFlow                          // the meter shows a flow out of the tube's inlet
	NotDeveloped                         // the tube is shorter than the entrance length
	MixedConvection                      // buoyancy is no longer small beside the forced flow
	NegativeLoss                         // the head is too small for this flow: one of them is wrong
)

// Has reports whether a flag is set.
func (w Warnings) Has(flag Warnings) bool { return w&flag != 0 }

// String says the warnings to a person, separated by semicolons.
func (w Warnings) String() string {
	var said []string
	for _, t := range []struct {
		flag Warnings
		text string
	}{
		{NotLiquid, "temperature is that of ice or steam: check the sensor"},
		{ReverseFlow, "flow runs backwards: check the meter's direction"},
		{NotDeveloped, "tube is shorter than the entrance length: friction is higher than stated"},
		{MixedConvection, "buoyancy is not small beside the flow: the limits may shift"},
		{NegativeLoss, "head is too small for this flow: check level, drop, bore and flow"},
	} {
		if w.Has(t.flag) {
			said = append(said, t.text)
		}
	}
	return strings.Join(said, "; ")
}
