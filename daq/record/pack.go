package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"time"

	"flowrigd/daq"
)

// packing says how inputs are packed. The newest stand in rows of their own, durable as
// rows are; what is older goes into blocks. Age is judged by the run's own monotonic time.
type packing struct {
	inputs int           // in a block
	recent time.Duration // so old is what is packed, at least
	step   int           // rows let go in one transaction
	every  time.Duration // how often there is a look at what is to be packed, or purged
	soon   time.Duration // the same while there is more
}

// usualPacking: at 26 inputs a second a block is five minutes and some 50 kB, of which the
// pages of the database waste a twentieth; smaller ones compress worse.
var usualPacking = packing{inputs: 8000, recent: 5 * time.Minute, step: purgeRows, every: purgeEvery, soon: purgeSoon}

// block is a stretch of packed inputs of one run.
type block struct {
	run, first, last int64
	count            int
	begin, end       string // wall clock
	sha256, data     []byte
}

const blockTable = `
CREATE TABLE IF NOT EXISTS input_block(
	run INTEGER NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, count INTEGER NOT NULL,
	time_first TEXT NOT NULL, time_last TEXT NOT NULL, sha256 BLOB NOT NULL, data BLOB NOT NULL,
	PRIMARY KEY(run, first));
`

// nextBlock packs the oldest inputs that stand in rows; nil where none are old enough.
func (r *Reader) nextBlock(ctx context.Context, p packing, current int64, now time.Duration) (*block, error) {
	var run, covered int64
	err := r.history.QueryRowContext(ctx, `SELECT run, (SELECT coalesce(max(last), 0) FROM input_block WHERE input_block.run = input.run)
		FROM input ORDER BY run, number LIMIT 1`).Scan(&run, &covered)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	rows, err := list(rowsOf(ctx, r.history, scanStored, `SELECT number, mono_ns, time, clock_synchronised, kind, body
		FROM input WHERE run = ? AND number > ? ORDER BY number LIMIT ?`, run, covered, p.inputs))
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	first, last := rows[0], rows[len(rows)-1]
	switch {
	case run != current && now < p.recent: // the end of the run before may still be some of the newest minutes
		return nil, nil
	case run == current && (len(rows) < p.inputs || time.Duration(last.Mono) > now-p.recent):
		return nil, nil
	}
	data, err := packInputs(rows)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(data)
	return &block{run, first.Number, last.Number, len(rows), first.Time, last.Time, sum[:], data}, nil
}

// packMore begins to pack, beside everything else: the writer only stores what comes of it.
func (w *writer) packMore() {
	if w.packs || w.packed.run != 0 {
		return
	}
	w.packs = true
	run, now := w.inputRun, w.purge.last.Mono
	go func() {
		b, err := w.r.nextBlock(w.r.closing, w.packing, run, now)
		if err != nil && w.r.closing.Err() == nil {
			w.log.Error("recording: inputs are not packed", "err", explain(w.path, "pack", err))
		}
		w.blocks <- b
	}()
}

// store takes what came of packing, and says whether something is to be done soon.
func (w *writer) store(b *block) (more bool) {
	w.packs = false
	if b == nil {
		return false
	}
	err := w.attempt(func(tx *sql.Tx) error {
		_, err := tx.Exec(`INSERT INTO input_block VALUES (?,?,?,?,?,?,?,?)`, b.run, b.first, b.last, b.count, b.begin, b.end, b.sha256, b.data)
		return err
	})
	if err != nil {
		w.log.Error("recording: inputs are not packed", "err", err)
		return false
	}
	w.packed = *b
	return true
}

// letGo takes away rows whose inputs are in a block.
func (w *writer) letGo(tx *sql.Tx) (more bool, err error) {
	gone, err := changed(tx, `DELETE FROM input WHERE run = ?1 AND number <= min(?2,
		(SELECT max(number) FROM (SELECT number FROM input WHERE run = ?1 ORDER BY number LIMIT ?3)))`, w.packed.run, w.packed.last, w.packing.step)
	return gone > 0, err
}

// findPacked finds rows that were packed and are still there after a kill.
func (w *writer) findPacked() error {
	err := w.db.QueryRow(`SELECT run, last FROM input_block AS b WHERE EXISTS
		(SELECT 1 FROM input WHERE input.run = b.run AND number BETWEEN b.first AND b.last) LIMIT 1`).Scan(&w.packed.run, &w.packed.last)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}

// Inputs gives the inputs of a run exactly as they entered the engine, from a
// number on. What a damaged block held is told as a *daq.LostInputs, and those behind
// it follow; it stops after any other error.
func (r *Reader) Inputs(ctx context.Context, run int64, from uint64) iter.Seq2[daq.Input, error] {
	operation := fmt.Sprintf("inputs of run %d", run)
	return explained(r.path, operation, func(yield func(daq.Input, error) bool) {
		tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one moment of the recording: what is packed meanwhile is not missed
		if err != nil {
			yield(daq.Input{}, err)
			return
		}
		defer tx.Rollback()
		next := from
		pass := func(in daq.Input, err error) bool {
			if err == nil && in.Number < next {
				return true
			}
			if err == nil {
				next = in.Number + 1
			}
			return yield(in, err)
		}
		for b, err := range r.packedBlocks(ctx, tx, run, from) {
			if !b.each(err, pass) {
				return
			}
		}
		for in, err := range rowsOf(ctx, tx, scanInput,
			`SELECT number, mono_ns, time, clock_synchronised, kind, body FROM input WHERE run = ? AND number >= ? ORDER BY number`, run, int64(next)) {
			if !pass(in, err) {
				return
			}
		}
	})
}

func (r *Reader) packedBlocks(ctx context.Context, db querier, run int64, from uint64) iter.Seq2[*block, error] {
	if !r.packed {
		return func(func(*block, error) bool) {}
	}
	return rowsOf(ctx, db, scanBlock, `SELECT first, last, time_first, time_last, sha256, data FROM input_block
		WHERE run = ? AND last >= ? ORDER BY first`, run, int64(from))
}

func scanBlock(rows *sql.Rows) (*block, error) {
	b := &block{}
	return b, rows.Scan(&b.first, &b.last, &b.begin, &b.end, &b.sha256, &b.data)
}

// each gives the inputs of a block, or why there are none.
func (b *block) each(err error, yield func(daq.Input, error) bool) bool {
	if err != nil {
		yield(daq.Input{}, err)
		return false
	}
	list, err := b.inputs()
	if err != nil {
		return yield(daq.Input{}, &daq.LostInputs{First: uint64(b.first), Last: uint64(b.last), From: b.begin, To: b.end, Why: err})
	}
	for _, in := range list {
		if !yield(in, nil) {
			return false
		}
	}
	return true
}

func (b *block) inputs() ([]daq.Input, error) {
	if sum := sha256.Sum256(b.data); !bytes.Equal(sum[:], b.sha256) {
		return nil, errors.New("their block is damaged: its bytes do not have its checksum")
	}
	return unpackInputs(b.data)
}
