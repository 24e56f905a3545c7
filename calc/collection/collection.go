// Package collection owns the timed collection: water caught from the tube's
// outlet over measured seconds, by volume (ISO 8316) or by weight (ISO 4185),
// and the flow meter's factor from it.
//
//	vessel or balance + stopwatch → Result (flow, budget) → against the meter over the same seconds → Factor, Verdict
//
// It times nothing itself, does not know who caught the water, and corrects no
// meter: it states the factor.
package collection

import (
	"cmp"
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
)

// Reaction is the standard uncertainty in seconds of one press of a hand-held
// stopwatch: 0.1 s, common practice, no source. NIST SP 960-12 (2004) says
// "typically tens or even hundreds of milliseconds".
const Reaction = 0.1

// Timing is the duration of a collection.
type Timing struct {
	// Elapsed is in seconds, 1 s to a day, with the uncertainty of the timer
	// itself (rate, resolution).
	Elapsed uncertainty.Value
	// Reaction is the standard uncertainty of one event, start or stop, in
	// seconds; the two are taken as independent. Constant lateness cancels. 0
	// means no hand is in it: a diverter with its own contact.
	Reaction float64
}

// ByHand is a duration taken with a hand-held stopwatch that shows 0.01 s.
func ByHand(seconds float64) Timing {
	const step = 0.01
	return Timing{Elapsed: uncertainty.Limits(seconds, step/2), Reaction: Reaction}
}

// rows are the budget of a flow by a duration: dq/dt = −q/t, once for the
// timer and once for each event.
func (t Timing) rows(flow float64) []uncertainty.Contribution {
	s := t.Elapsed.X
	rows := []uncertainty.Contribution{{Name: "timer", X: s, U: t.Elapsed.U, Sensitivity: -flow / s}}
	if t.Reaction == 0 {
		return rows
	}
	return append(rows,
		uncertainty.Contribution{Name: "reaction at start", U: t.Reaction, Sensitivity: flow / s},
		uncertainty.Contribution{Name: "reaction at stop", U: t.Reaction, Sensitivity: -flow / s})
}

func (t Timing) check() error {
	return cmp.Or(
		within("time", t.Elapsed.X, 1, 86400, "s", "collect for about 30 s or longer"),
		uncertain("time", t.Elapsed.U, t.Elapsed.X, "s"),
		within("reaction", t.Reaction, 0, t.Elapsed.X/4, "s", "collect for longer, or state the reaction of one press"))
}

// Result is the flow that a collection gives.
type Result struct {
	Flow    uncertainty.Value // m³/s at the meter's density
	DoF     float64           // effective degrees of freedom
	Volume  float64           // m³ that passed the meter
	Seconds float64
	Budget  []uncertainty.Contribution
}

func result(volume, seconds float64, budget []uncertainty.Contribution) (Result, error) {
	for _, row := range budget {
		if !(row.U >= 0) || math.IsInf(row.U, 0) {
			return Result{}, fmt.Errorf("collection: %s: standard uncertainty %g; give a number from 0", row.Name, row.U)
		}
	}
	sum := uncertainty.Combine(budget...)
	return Result{uncertainty.Value{X: volume / seconds, U: sum.U}, sum.DoF, volume, seconds, budget}, nil
}

// within refuses a value outside low…high, NaN among them.
func within(name string, v, low, high float64, unit, remedy string) error {
	if v >= low && v <= high {
		return nil
	}
	return fmt.Errorf("collection: %s: %g %s is outside %g to %g %s; %s", name, v, unit, low, high, unit, remedy)
}

// uncertain refuses an uncertainty that is negative, not a number, or as large
// as the value: no flow follows from it.
func uncertain(name string, u, of float64, unit string) error {
	if u >= 0 && u < math.Abs(of) {
		return nil
	}
	return fmt.Errorf("collection: %s: uncertainty %g %s does not go with %g %s; state a standard uncertainty from 0 to below the value", name, u, unit, of, unit)
}
