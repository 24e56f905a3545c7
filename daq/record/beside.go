package record

import (
	"context"
	"database/sql"
	"iter"

	"flowrigd/daq"
	"flowrigd/daq/experiment"
)

// looksBefore is how many observations are held against a test point, as many as the
// notebook keeps.
const looksBefore = 200

// shown are events as people and their programs look them up; the end of the query orders
// them by sequence. What people saw at a test point stands in it though they wrote it down
// later; the rows stay as they were told.
func (r *Reader) shown(ctx context.Context, db *sql.DB, k *kind, operation, end string, arguments ...any) iter.Seq2[*eventRow, error] {
	events := r.events(ctx, db, k, operation, end, arguments...)
	if k != kindOf("test-points") {
		return events
	}
	return func(yield func(*eventRow, error) bool) {
		var beside *experiment.Beside
		for w, err := range r.events(ctx, db, k, operation, end+" LIMIT 1", arguments...) {
			if err != nil {
				yield(nil, err)
				return
			}
			beside = &experiment.Beside{Ends: []int64{w.sequence}}
		}
		if beside == nil {
			return
		}
		// Read before the events: no connection waits for another one.
		if err := r.read(ctx, db, beside); err != nil {
			yield(nil, err)
			return
		}
		for w, err := range events {
			if err == nil {
				w.TestPoint.Observed = beside.Observed(w.sequence, w.TestPoint)
			}
			if !yield(w, err) {
				return
			}
		}
	}
}

// read takes in what stands beside the test points from the first on.
func (r *Reader) read(ctx context.Context, db *sql.DB, b *experiment.Beside) error {
	struck := map[int64]bool{}
	for w, err := range r.events(ctx, db, kindOf("strikes"), "observed: strikes", ` WHERE "of" = ?`, daq.KindObservation) {
		if err != nil {
			return err
		}
		struck[w.Strike.Struck] = true
	}
	byPeople := "NOT sensor"
	if !r.have["observation"]["sensor"] { // a recording of before the light wrote any
		byPeople = "true"
	}
	first := b.Ends[0]
	kept := ` WHERE ` + byPeople + ` AND sequence > coalesce((SELECT sequence FROM observation
		WHERE ` + byPeople + ` AND sequence < ? ORDER BY sequence DESC LIMIT 1 OFFSET ?), 0) ORDER BY sequence`
	for w, err := range r.events(ctx, db, kindOf("observations"), "observed: observations", kept, first, looksBefore) {
		if err != nil {
			return err
		}
		b.Looks = append(b.Looks, experiment.Look{Sequence: w.sequence, Struck: struck[w.sequence], Of: w.Observation})
	}
	if len(b.Looks) == 0 {
		return nil
	}
	const ends = `SELECT sequence, 0 FROM test_point WHERE sequence > ?1
		UNION ALL SELECT sequence, 0 FROM note WHERE sequence > ?1 AND kind = 'valve' ORDER BY 1`
	for end, err := range explained(r.path, "observed: valve", rowsOf(ctx, db, scanPair[int64, int], ends, first)) {
		if err != nil {
			return err
		}
		b.Ends = append(b.Ends, end.key)
	}
	return nil
}
