package record

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"flowrigd/daq"
)

// Events gives the events of a kind, by its word of the verb export, from a time to
// another, the second left out; a zero time is no bound. It stops at the first error.
func (r *Reader) Events(ctx context.Context, what string, from, to time.Time, each func(sequence int64, e daq.Event) error) error {
	end, arguments := (&Export{From: from, To: to}).between()
	for i := range kinds {
		if k := &kinds[i]; k.export == what {
			for w, err := range r.shown(ctx, r.history, k, "events", end, arguments...) {
				if err != nil {
					return err
				}
				if err := each(w.sequence, w.Event); err != nil {
					return err
				}
			}
			return nil
		}
	}
	return fmt.Errorf("events: there is no %q", what)
}

// Span is when the first and the last row were recorded; zero without one.
func (r *Reader) Span(ctx context.Context) (first, last time.Time, err error) {
	if first, err = r.endRow(ctx, r.history, "ASC"); err == nil {
		last, err = r.endRow(ctx, r.history, "DESC")
	}
	if err != nil {
		err = explain(r.path, "span", err)
	}
	return first, last, err
}

// Configurations lists the SHA-256 of every configuration under which a row from one
// time to another was made, in the order of the rows.
func (r *Reader) Configurations(ctx context.Context, from, to time.Time) ([]string, error) {
	var named []pair[string, int64]
	for _, table := range r.tables {
		where, arguments := span{from: from, to: to.Add(time.Microsecond)}.where(table)
		more, err := list(explained(r.path, "configurations", rowsOf(ctx, r.history, scanPair[string, int64],
			`SELECT `+textOf("configuration", table)+`, min(sequence) FROM `+table+where+` GROUP BY configuration ORDER BY 2`, arguments...)))
		if err != nil {
			return nil, err
		}
		named = append(named, more...)
	}
	slices.SortStableFunc(named, func(a, b pair[string, int64]) int { return cmp.Compare(a.value, b.value) })
	var all []string
	for _, c := range named {
		if !slices.Contains(all, c.key) {
			all = append(all, c.key)
		}
	}
	return all, nil
}
