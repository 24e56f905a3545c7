// Package transition owns the critical Reynolds number: what a set of dye
// observations says about it, and what Reynolds and the textbooks say.
//
//	observations (seen at Re ± u, temperature, approach) → groups → interval, penalised fit → Estimate
//
// It takes the observer's word for what the dye showed, smooths nothing away
// (an overlap is reported as one), and never turns an interval into a limit of
// the rig's configuration.
package transition

import (
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Approach is the direction in which Re came to the observed state. It matters:
// a flow disturbed from above stays so down to about 2000, a quiet one coming
// from below may stay laminar far beyond. The zero value is Unstated.
type Approach uint8

// The approaches.
const (
	Unstated Approach = iota
	Rising            // from lower Re
	Falling           // from higher Re
)

// String is the word of every interface; unstated is empty.
func (a Approach) String() string {
	return [...]string{Unstated: "", Rising: "rising", Falling: "falling"}[a]
}

// ParseApproach reads a word that String writes.
func ParseApproach(word string) (Approach, bool) {
	for _, a := range [...]Approach{Unstated, Rising, Falling} {
		if a.String() == word {
			return a, true
		}
	}
	return Unstated, false
}

// Observation is what somebody saw the dye do.
type Observation struct {
	Reynolds uncertainty.Value // 1 to 1e6
	Celsius  float64           // water in the tube, 0 to 100
	Seen     quantity.Band     // laminar, transitional or turbulent
	Approach Approach
}

func (o Observation) check() error {
	if err := o.checkConditions(); err != nil {
		return err
	}
	if o.Seen != quantity.Laminar && o.Seen != quantity.Transitional && o.Seen != quantity.Turbulent {
		return fmt.Errorf("seen: %q is not laminar, transitional or turbulent; leave out what the dye did not show", o.Seen)
	}
	return nil
}

func (o Observation) checkConditions() error {
	re := o.Reynolds
	switch {
	case !(re.X >= 1 && re.X <= 1e6):
		return fmt.Errorf("reynolds number: %g is outside 1 to 1e6; leave out what was seen without a known flow", re.X)
	case !(re.U >= 0 && re.U < re.X):
		return fmt.Errorf("reynolds number: standard uncertainty %g does not go with %g; give it from 0 to below the value", re.U, re.X)
	case !(o.Celsius >= 0 && o.Celsius <= 100):
		return fmt.Errorf("temperature: %g Cel is outside 0 to 100 Cel; leave out what was seen without a known temperature", o.Celsius)
	}
	return nil
}

// Limit is one of the two limits between the three bands.
type Limit uint8

// The limits.
const (
	Onset    Limit = iota // laminar below, disturbed (transitional or turbulent) above
	Complete              // laminar or transitional below, turbulent above
	Half                  // the dye torn for less than half of the time below, for more above
)

// String says what the limit divides.
func (l Limit) String() string {
	return [...]string{Onset: "onset of disturbance", Complete: "onset of full turbulence", Half: "torn half of the time"}[l]
}

// share is how much of an observation lies above the limit.
func (l Limit) share(o Observation) float64 {
	switch {
	case o.Seen == quantity.Laminar:
		return 0
	case o.Seen == quantity.Turbulent || l == Onset:
		return 1
	case l == Half:
		return 0.5
	}
	return 0
}
