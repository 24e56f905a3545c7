package live

import (
	"errors"
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// errStandsBy refuses what a person wants of a daemon that stands by.
var errStandsBy = errors.New("this flowrigd stands by, another one has the instruments and the relay: do it on that one's page")

// StandingBy is a state as a daemon that stands by may show it: the permit is
// the other daemon's, and how it stands is not known here.
func StandingBy(s *daq.State) *daq.State {
	shown := *s
	shown.Values.Clear(quantity.HeatingPermitted)
	shown.Given, shown.ProofTest, shown.Without = false, false, nil
	shown.Warnings = append([]string{"this flowrigd stands by: another one has the instruments and the relay, and what stands here says nothing of the rig; look at that one's page"}, s.Warnings...)
	return &shown
}

// RefuseStandingBy answers a command that is given to a daemon that stands by.
func RefuseStandingBy(c daq.Command) error {
	return fmt.Errorf("%s: refused: %w", c.Verb(), errStandsBy)
}
