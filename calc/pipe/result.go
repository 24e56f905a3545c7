package pipe

import (
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Result is what Derive knows beyond the table of quantities. NaN is unknown.
type Result struct {
	Warnings  Warnings
	Tube      Tube              // what the room does to the water in the tube
	Loss      Loss              // for comparing with another state; K is 0 where it is unknown
	Friction  uncertainty.Value // Darcy, as the loss coefficient has it, bracketed where no law holds
	Alpha     uncertainty.Value // kinetic energy factor, likewise
	WallShear float64           // Pa
	Settling  float64           // s, the least time from a change until the tube can be steady
	// U is the standard uncertainty of each derived quantity for which one can be
	// stated, in the quantity's unit.
	U quantity.Set
}

// Warnings are flags.
type Warnings uint16

// The warnings.
const (
	NotLiquid      Warnings = 1 << iota // the temperature is that of ice or steam
	ReverseFlow                         // the meter shows a flow out of the tube's inlet
	NotDeveloped                        // the tube is far shorter than the entrance length
	BetweenLimits                       // no friction factor holds
	NegativeLoss                        // the head is too small for this flow: one of them is wrong
	firstOfProfile                      // and one for each profile that is a remark
)

// Warning is the flag of a profile; none where it is no remark.
func (p Profile) Warning() Warnings {
	if p <= Parabola {
		return 0
	}
	return firstOfProfile << (p - Ahead)
}

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
		{NotDeveloped, "tube is shorter than half the entrance length: friction is higher than stated"},
		{BetweenLimits, "between the limits no friction factor holds: the flow changes to and fro"},
		{NegativeLoss, "head is too small for this flow: check level, drop, bore and flow"},
	} {
		if w.Has(t.flag) {
			said = append(said, t.text)
		}
	}
	for p := Ahead; p <= NotKnown; p++ {
		if w.Has(p.Warning()) {
			said = append(said, p.String())
		}
	}
	return strings.Join(said, "; ")
}
