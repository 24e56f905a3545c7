package collection

import (
	"cmp"
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
)

// Verdict says whether a meter keeps its maker's limits. The zero value is
// Inconclusive.
type Verdict uint8

// The verdicts, by the decision rule of ISO 14253-1 (from memory): the
// expanded uncertainty (k = 2) counts against whoever claims.
const (
	Inconclusive Verdict = iota // the collection is too uncertain to tell
	Keeps                       // within the limits beyond doubt
	Breaks                      // outside the limits beyond doubt
)

// String is the verdict in words.
func (v Verdict) String() string {
	return [...]string{Inconclusive: "inconclusive", Keeps: "within its accuracy", Breaks: "outside its accuracy"}[v]
}

// Metered is what the meter said over the same seconds.
type Metered struct {
	// Flow is the mean reading, m³/s; U its type A uncertainty with the
	// resolution, without the maker's accuracy, which is what is on trial.
	Flow uncertainty.Value
	DoF  float64 // of Flow.U; 0 means infinite
	// Limit is the maker's limit of error at this flow, m³/s, half width; 0
	// means none is stated, and the verdict is inconclusive.
	Limit float64
}

// Comparison is a collection against the meter.
type Comparison struct {
	Factor  uncertainty.Value // collected ÷ metered: what to multiply readings by
	DoF     float64           // effective degrees of freedom of Factor
	Error   uncertainty.Value // metered − collected, m³/s
	Limit   float64           // m³/s
	Verdict Verdict
}

// Against compares the collected flow with the meter's.
func (r Result) Against(m Metered) (Comparison, error) {
	if err := cmp.Or(
		within("metered flow", m.Flow.X, 1e-9, 1, "m3/s", "let the meter read while the water is caught"),
		uncertain("metered flow", m.Flow.U, m.Flow.X, "m3/s"),
	); err != nil {
		return Comparison{}, err
	}
	if !(m.Limit >= 0) || !(r.Flow.X > 0) {
		return Comparison{}, fmt.Errorf("collection: comparison: collected flow %g m3/s, maker's limit %g m3/s; both must be known and not negative", r.Flow.X, m.Limit)
	}
	factor := r.Flow.X / m.Flow.X
	rows := []uncertainty.Contribution{
		{Name: "collected", X: r.Flow.X, U: r.Flow.U, Sensitivity: 1 / m.Flow.X, DoF: finite(r.DoF)},
		{Name: "metered", X: m.Flow.X, U: m.Flow.U, Sensitivity: -factor / m.Flow.X, DoF: m.DoF},
	}
	sum := uncertainty.Combine(rows...)
	c := Comparison{
		Factor: uncertainty.Value{X: factor, U: sum.U},
		DoF:    sum.DoF,
		Error:  uncertainty.Value{X: m.Flow.X - r.Flow.X, U: math.Hypot(m.Flow.U, r.Flow.U)},
		Limit:  m.Limit,
	}
	c.Verdict = judge(c.Error, m.Limit)
	return c, nil
}

func judge(e uncertainty.Value, limit float64) Verdict {
	size, expanded := math.Abs(e.X), 2*e.U
	switch {
	case limit == 0:
		return Inconclusive
	case size+expanded <= limit:
		return Keeps
	case size-expanded > limit:
		return Breaks
	}
	return Inconclusive
}

// finite turns infinite degrees of freedom into the 0 of a budget row.
func finite(dof float64) float64 {
	if math.IsInf(dof, 1) {
		return 0
	}
	return dof
}

// SecondsNeeded is the duration in seconds from which on the two presses alone
// (standard uncertainty reaction each) give no more than the expanded relative
// uncertainty (k = 2): 2·√2·reaction ÷ relative. It is what to tell someone
// whose collection is inconclusive.
func SecondsNeeded(reaction, relative float64) float64 {
	return 2 * math.Sqrt2 * reaction / relative
}
