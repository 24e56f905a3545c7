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
	rows, err := r.db.QueryContext(ctx, `SELECT run, time, configuration, `+build+`,
		coalesce((SELECT max(number) FROM input WHERE input.run = run.run), 0),
		coalesce((SELECT min(number) FROM input WHERE input.run = run.run), 0) FROM run ORDER BY run`)
	if err != nil {
		return nil, explain(r.path, "runs", err)
	}
	defer rows.Close()
	var runs []daq.Run
	for rows.Next() {
		var run daq.Run
		var at string
		if err := rows.Scan(&run.Number, &at, &run.Configuration, &run.Build, &run.Inputs, &run.First); err != nil {
			return nil, explain(r.path, "runs", err)
		}
		if run.Began, err = time.Parse(time.RFC3339Nano, at); err != nil {
			return nil, fmt.Errorf("%s: run %d: %w", r.path, run.Number, err)
		}
		runs = append(runs, run)
	}
	return runs, rows.Err()
}

// Inputs gives the inputs of a run exactly as they entered the engine, from a
// number on. It stops after the first error.
func (r *Reader) Inputs(ctx context.Context, run int64, from uint64) iter.Seq2[daq.Input, error] {
	return func(yield func(daq.Input, error) bool) {
		if err := r.inputs(ctx, run, from, yield); err != nil {
			yield(daq.Input{}, explain(r.path, fmt.Sprintf("inputs of run %d", run), err))
		}
	}
}

func (r *Reader) inputs(ctx context.Context, run int64, from uint64, yield func(daq.Input, error) bool) error {
	rows, err := r.db.QueryContext(ctx, `SELECT number, mono_ns, time, clock_synchronised, kind, body
		FROM input WHERE run = ? AND number >= ? ORDER BY number`, run, int64(from))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		in, err := scanInput(rows)
		if err != nil {
			return err
		}
		if !yield(in, nil) {
			return nil
		}
	}
	return rows.Err()
}

func scanInput(rows *sql.Rows) (in daq.Input, err error) {
	var number, mono int64
	var at, kind, body string
	if err := rows.Scan(&number, &mono, &at, &in.Synchronised, &kind, &body); err != nil {
		return in, err
	}
	in.Number, in.Mono = uint64(number), time.Duration(mono)
	if in.Wall, err = time.Parse(time.RFC3339Nano, at); err != nil {
		return in, fmt.Errorf("input %d: %w", number, err)
	}
	if err := decodeInput(&in, kind, body); err != nil {
		return in, fmt.Errorf("input %d: %w", number, err)
	}
	return in, nil
}

// Rows gives the recorded rows from a time to another, the second left out, in the
// order in which they were recorded. It stops after the first error.
func (r *Reader) Rows(ctx context.Context, from, to time.Time) iter.Seq2[daq.Row, error] {
	return func(yield func(daq.Row, error) bool) {
		rows, err := r.db.QueryContext(ctx, `SELECT `+r.rowColumns()+` FROM sample WHERE time >= ? AND time < ? ORDER BY sequence`,
			daq.FormatTime(from), daq.FormatTime(to))
		if err != nil {
			yield(daq.Row{}, explain(r.path, "rows", err))
			return
		}
		defer rows.Close()
		for rows.Next() {
			var out daq.Row
			w, err := scanRow(rows)
			if err == nil {
				out.Values = w.values
				out.Time, err = time.Parse(time.RFC3339Nano, w.time)
			}
			if err != nil {
				yield(daq.Row{}, explain(r.path, "rows", err))
				return
			}
			if !yield(out, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(daq.Row{}, explain(r.path, "rows", err))
		}
	}
}

// Has says whether rows of this recording have a quantity's column.
func (r *Reader) Has(id quantity.ID) bool { return r.have["sample"][id.Name()] }

// Digests gives what the live run stored of its states, by the number of the
// input up to which each goes.
func (r *Reader) Digests(ctx context.Context, run int64) (map[uint64]string, error) {
	rows, err := r.db.QueryContext(ctx, `SELECT number, sha256 FROM digest WHERE run = ?`, run)
	if err != nil {
		return nil, explain(r.path, "digests", err)
	}
	defer rows.Close()
	digests := map[uint64]string{}
	for rows.Next() {
		var number int64
		var sum string
		if err := rows.Scan(&number, &sum); err != nil {
			return nil, explain(r.path, "digests", err)
		}
		digests[uint64(number)] = sum
	}
	return digests, rows.Err()
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
