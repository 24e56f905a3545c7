package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"flowrigd/daq"
)

// fullLayout keeps every nanosecond of what entered the engine, for the replay;
// fixed width, so that it sorts. What is told has the time of daq.FormatTime.
const fullLayout = "2006-01-02T15:04:05.000000000Z"

func fullTime(t time.Time) string { return t.UTC().Format(fullLayout) }

// transaction is one attempt to write a chunk, with the numbers it gives out.
type transaction struct {
	w         *writer
	tx        *sql.Tx
	sequences map[daq.Class]int64
	run       int64
	sha       string
	named     bool
	told      [][]int64 // the sequences of each entry's events
	texts     texts
	rollup    rollup
}

// statements are prepared once.
type statements struct {
	sample, input, run, configuration, mark, sequence, digest *sql.Stmt

	events  [len(kinds)]*sql.Stmt
	rollups []*sql.Stmt // of each level
}

func prepareStatements(db *sql.DB) (s statements, err error) {
	for _, p := range []struct {
		to  **sql.Stmt
		sql string
	}{
		{&s.sample, insert(rowTable, (&row{}).fields())},
		{&s.input, `INSERT OR IGNORE INTO input(run, number, mono_ns, time, clock_synchronised, kind, body) VALUES (?,?,?,?,?,?,?)`},
		{&s.run, `INSERT INTO run(run, time, configuration, build) VALUES (?,?,?,?)`},
		{&s.configuration, `INSERT OR IGNORE INTO configuration(sha256, text, first_used) VALUES (?,?,?)`},
		{&s.mark, `INSERT INTO mark(destination, class, sequence) VALUES (?,?,?) ON CONFLICT DO UPDATE SET sequence = max(sequence, excluded.sequence)`},
		{&s.digest, `INSERT OR IGNORE INTO digest(run, number, sha256) VALUES (?,?,?)`},
		{&s.sequence, `INSERT INTO sequence(class, newest) VALUES (?,?) ON CONFLICT DO UPDATE SET newest = excluded.newest`},
	} {
		if *p.to, err = db.Prepare(p.sql); err != nil {
			return s, err
		}
	}
	for i := range kinds {
		if s.events[i], err = db.Prepare(insert(kinds[i].table, kinds[i].columns())); err != nil {
			return s, err
		}
	}
	for _, level := range levels {
		p, err := db.Prepare(insertRollup(level))
		if err != nil {
			return s, err
		}
		s.rollups = append(s.rollups, p)
	}
	return s, nil
}

func (s *statements) close() {
	for _, p := range append(append(s.events[:], s.rollups...), s.sample, s.input, s.run, s.configuration, s.mark, s.sequence, s.digest) {
		if p != nil {
			p.Close()
		}
	}
}

func (t *transaction) exec(s *sql.Stmt, arguments ...any) error {
	_, err := t.tx.Stmt(s).Exec(arguments...)
	return err
}

func (t *transaction) next(c daq.Class) int64 {
	t.sequences[c]++
	return t.sequences[c]
}

// input writes what entered the engine. A start begins a run. The text of a
// configuration goes to disk with the input that names it, and the digest of the
// states with the input up to which it was made.
func (t *transaction) input(e *entry) error {
	in := &e.Input
	if in.Start != nil {
		t.sha, t.named = in.Start.Configuration, false
		if err := t.name(in.Start, in.Wall); err != nil {
			return err
		}
	}
	if in.Kind == daq.KindStart || t.run == 0 {
		if err := t.name(t.w.o.Start, in.Wall); err != nil {
			return err
		}
		t.run++
		if err := t.exec(t.w.statements.run, t.run, fullTime(in.Wall), t.sha, t.w.o.Build); err != nil {
			return err
		}
	}
	kind, body, err := encodeInput(in)
	if err != nil {
		return err
	}
	// OR IGNORE: a number that came twice would otherwise stop the recording for good.
	err = t.exec(t.w.statements.input, t.run, int64(in.Number), int64(in.Mono), fullTime(in.Wall), in.Synchronised, kind, body)
	if err == nil && e.Digest != "" {
		err = t.exec(t.w.statements.digest, t.run, int64(in.Number), e.Digest)
	}
	if err == nil && e.Checkpoint != nil {
		err = t.checkpoint(e)
	}
	return err
}

// name writes the text of the configuration that what comes next is named by, where a
// start brings it. A recording in place of a lost one begins without a start of its own.
func (t *transaction) name(start *daq.Start, at time.Time) error {
	if t.named || start == nil || start.Config == nil || start.Config.SHA256 != t.sha {
		return nil
	}
	t.named = true
	if err := t.exec(t.w.statements.configuration, start.Config.SHA256, string(start.Config.Text), fullTime(at)); err != nil {
		return fmt.Errorf("configuration: %w", err)
	}
	return nil
}

func (t *transaction) sample(s *daq.State) error {
	if err := t.name(t.w.o.Start, s.Time); err != nil {
		return err
	}
	w := &row{t.next(daq.ClassRecord), s.Time, s.Synchronised, t.sha, string(daq.AppendQuality(nil, s)), s.Values}
	if err := t.texts.insert(t.tx.Stmt(t.w.statements.sample), w); err != nil || !t.w.rolled {
		return err
	}
	return t.rollup.takeRow(t.tx, &t.w.statements, w)
}

// event writes an event's row, and gives its sequence.
func (t *transaction) event(e daq.Event, synchronised bool) (int64, error) {
	w := &eventRow{Event: e, synchronised: synchronised}
	for i, k := range kinds {
		if fields := k.fields(w); fields != nil {
			w.sequence = t.next(k.class)
			return w.sequence, t.exec(t.w.statements.events[i], places(fields)...)
		}
	}
	return 0, errors.New("there is no table for it")
}

// rest writes what is not a step: marks, and the numbers given out.
func (t *transaction) rest(c *chunk) error {
	for key, sequence := range c.marks {
		if err := t.exec(t.w.statements.mark, key.destination, string(key.class), sequence); err != nil {
			return fmt.Errorf("mark: %w", err)
		}
	}
	for class, newest := range t.sequences {
		if newest == t.w.sequences[class] {
			continue
		}
		if err := t.exec(t.w.statements.sequence, string(class), newest); err != nil {
			return fmt.Errorf("sequence: %w", err)
		}
	}
	return nil
}

func readSequences(db querier) (map[daq.Class]int64, error) {
	newest := map[daq.Class]int64{daq.ClassRecord: 0, daq.ClassAlarm: 0, daq.ClassEvent: 0}
	for s, err := range rowsOf(context.Background(), db, scanPair[daq.Class, int64], `SELECT class, newest FROM sequence`) {
		if err != nil {
			return nil, err
		}
		newest[s.key] = s.value
	}
	return newest, nil
}
