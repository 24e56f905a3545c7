package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"flowrigd/daq"
)

// Events gives the events of a kind, by its word of the verb export, from a time to
// another, the second left out; a zero time is no bound. It stops at the first error.
func (r *Reader) Events(ctx context.Context, what string, from, to time.Time, each func(sequence int64, e daq.Event) error) error {
	end, arguments := (&Export{From: from, To: to}).between()
	for i := range kinds {
		if k := &kinds[i]; k.export == what {
			for w, err := range r.events(ctx, r.history, k, "events", end, arguments...) {
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
	err = r.history.QueryRowContext(ctx, `SELECT time FROM sample ORDER BY sequence LIMIT 1`).Scan(&stamp{to: &first})
	if errors.Is(err, sql.ErrNoRows) {
		return first, last, nil
	}
	if err == nil {
		last, err = r.lastRow(ctx)
	}
	if err != nil {
		err = explain(r.path, "span", err)
	}
	return first, last, err
}

// Configurations lists the SHA-256 of every configuration under which a row from one
// time to another was made, in the order of the rows.
func (r *Reader) Configurations(ctx context.Context, from, to time.Time) ([]string, error) {
	return list(explained(r.path, "configurations", rowsOf(ctx, r.history,
		func(rows *sql.Rows) (sha string, err error) { return sha, rows.Scan(&sha) },
		`SELECT configuration FROM sample WHERE time >= ? AND time <= ? GROUP BY configuration ORDER BY min(sequence)`, daq.FormatTime(from), daq.FormatTime(to))))
}
