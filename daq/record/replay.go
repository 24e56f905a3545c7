package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Runs lists every run, oldest first.
func (r *Reader) Runs(ctx context.Context) ([]daq.Run, error) {
	build := "''"
	if r.have["run"]["build"] {
		build = "coalesce(build, '')"
	}
	newest, oldest := "0", "NULL"
	if r.packed {
		newest = `(SELECT max(last) FROM input_block WHERE input_block.run = run.run)`
		oldest = `(SELECT min(first) FROM input_block WHERE input_block.run = run.run)`
	}
	return list(explained(r.path, "runs", rowsOf(ctx, r.db, scanRun, `SELECT run, time, configuration, `+build+`,
		coalesce((SELECT max(number) FROM input WHERE input.run = run.run), `+newest+`, 0),
		coalesce(`+oldest+`, (SELECT min(number) FROM input WHERE input.run = run.run), 0) FROM run ORDER BY run`)))
}

func scanRun(rows *sql.Rows) (run daq.Run, err error) {
	err = rows.Scan(&run.Number, &stamp{to: &run.Began}, &run.Configuration, &run.Build, &run.Inputs, &run.First)
	return run, err
}

func scanInput(rows *sql.Rows) (in daq.Input, err error) {
	var number int64
	var kind, body string
	if err := rows.Scan(&number, (*int64)(&in.Mono), &stamp{to: &in.Wall}, &in.Synchronised, &kind, &body); err != nil {
		return in, err
	}
	in.Number = uint64(number)
	if err := decodeInput(&in, kind, body); err != nil {
		return in, fmt.Errorf("input %d: %w", number, err)
	}
	return in, nil
}

// Rows gives the recorded rows from a time to another, the second left out, in the
// order in which they were recorded. It stops after the first error.
func (r *Reader) Rows(ctx context.Context, from, to time.Time) iter.Seq2[daq.Row, error] {
	return func(yield func(daq.Row, error) bool) {
		for w, err := range r.rows(ctx, r.db, "rows", span{from: from, to: to}) {
			var out daq.Row
			if err == nil {
				out.Time, out.Values = w.time, w.values
			}
			if !yield(out, err) || err != nil {
				return
			}
		}
	}
}

// Has says whether rows of this recording have a quantity's column.
func (r *Reader) Has(id quantity.ID) bool { return r.have[r.tables[len(r.tables)-1]][id.Name()] }

// Digests gives what the live run stored of its states, by the number of the
// input up to which each goes.
func (r *Reader) Digests(ctx context.Context, run int64) (map[uint64]string, error) {
	digests := map[uint64]string{}
	for d, err := range explained(r.path, "digests", rowsOf(ctx, r.db, scanPair[int64, string], `SELECT number, sha256 FROM digest WHERE run = ?`, run)) {
		if err != nil {
			return nil, err
		}
		digests[uint64(d.key)] = d.value
	}
	return digests, nil
}

// Configuration gives the text of a configuration by its SHA-256.
func (r *Reader) Configuration(ctx context.Context, sha string) (string, error) {
	var text string
	err := r.db.QueryRowContext(ctx, `SELECT text FROM configuration WHERE sha256 = ?`, sha).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("%s: configuration %s: not in this recording; name one with --config", r.path, sha)
	}
	if err != nil {
		return "", explain(r.path, "configuration", err)
	}
	return text, nil
}
