package experiment

import (
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// seenAfter is how long after the seconds of a test point what a person sees is still of
// it, where the flow is the same: the program captures by itself, and the hand is slower
// (own choice).
const seenAfter = 2 * time.Minute

// Beside is what a recording holds beside its test points, each in the order of its
// sequence.
type Beside struct {
	Looks []Look
	Ends  []int64 // of test points, and of notes that the valve was touched
}

// Look is an observation that a person made.
type Look struct {
	Sequence int64
	Struck   bool
	Of       *daq.Observation
}

// Observed is what was seen at a test point: by the newest look of its conditions that
// stands, up to the next test point, the next note of the valve or seenAfter, whichever
// came first; without one what was recorded with it. Where that was a look that has been
// struck since, it is what the light shows, or "".
func (b *Beside) Observed(sequence int64, p *daq.TestPoint) string {
	at, known := placeOf(p)
	if !known {
		return p.Observed
	}
	next, found := slices.BinarySearch(b.Ends, sequence)
	if found {
		next++
	}
	until := p.Time.Add(seenAfter)
	struck := false // what was recorded with it
	for _, l := range slices.Backward(b.Looks) {
		if next < len(b.Ends) && l.Sequence > b.Ends[next] || l.Of.Time.After(until) {
			continue
		}
		one, ok := seenOf(l.Of)
		before := l.Sequence < sequence
		if !before && one.experiment == "" { // the capture of its last condition has ended it
			one.experiment = p.Experiment
		}
		switch {
		case !ok || !at.holds(&one):
		case l.Struck:
			struck = struck || before
		case before && !struck:
			return p.Observed
		default:
			return one.band.String()
		}
	}
	if !struck {
		return p.Observed
	}
	if share := meanOf(p, quantity.DisturbedFraction).Value; share != nil {
		return bandSeen(*share).String()
	}
	return ""
}
