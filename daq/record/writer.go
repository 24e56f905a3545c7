package record

import (
	"cmp"
	"database/sql"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"time"

	"flowrigd/daq"
)

// A failing commit is tried again after retryFirst, then twice as long each
// time up to retryLast.
const (
	retryFirst = 100 * time.Millisecond
	retryLast  = 2 * time.Second
)

// lookEvery is how often the files are looked after while nothing is written.
const lookEvery = time.Second

// writer is the one goroutine that writes. Everything but the queue and the
// health is its own.
type writer struct {
	r          *Recorder
	db         *sql.DB
	path       string
	files      map[string]os.FileInfo // of the database, as opened
	lock       map[string]os.FileInfo // the file that keeps others away
	stat       func(string) (os.FileInfo, error)
	o          Options
	log        *slog.Logger
	statements statements
	sequences  map[daq.Class]int64 // newest given out and on disk
	inputRun   int64               // of the inputs
	sha        string              // configuration of the rows
	named      bool                // its text has been written here
	quality    string              // of the newest row
	moving     bool                // there are rows of schema 1
	rollup     rollup              // the minute that is under way
	rolled     bool                // every row is in it or in a roll-up
	caught     rollup              // what rollup is once catchUp is on disk
	packing    packing
	packs      bool        // inputs are being packed
	blocks     chan *block // what comes of it
	packed     block       // whose rows are to go; run 0: none
	purge      purger
	complaint  string // what was logged last; "" while all is well
	lost       bool   // the files are gone
}

func newWriter(r *Recorder, db *sql.DB, path string, o Options) (*writer, error) {
	w := &writer{r: r, db: db, path: path, stat: o.stat, o: o, log: o.Log, purge: purger{retention: o.Retention},
		packing: o.packing, blocks: make(chan *block, 1)}
	if o.Start != nil {
		w.sha = o.Start.Configuration
	}
	if err := w.load(); err != nil {
		return nil, explain(path, "open", err)
	}
	return w, nil
}

func (w *writer) load() (err error) {
	if w.files, err = filesOf(w.path); err != nil {
		return err
	}
	if w.lock, err = filesOf(filepath.Join(filepath.Dir(w.path), lockName)); err != nil {
		return err
	}
	if w.sequences, err = readSequences(w.db); err != nil {
		return err
	}
	if err = w.db.QueryRow(`SELECT coalesce(max(run), 0) FROM run`).Scan(&w.inputRun); err != nil {
		return err
	}
	if w.statements, err = prepareStatements(w.db); err != nil {
		return err
	}
	if w.moving, err = hasOldRows(w.db); err != nil {
		return err
	}
	if err := w.findPacked(); err != nil {
		return err
	}
	return w.beginRollups()
}

// run writes what the queue brings until Close, and then the rest. It ends by
// itself when the files are gone.
func (w *writer) run() {
	defer close(w.r.done)
	defer w.closeAll()
	first := w.packing.every
	if w.moving || w.packed.run != 0 || !w.rolled {
		first = w.packing.soon
	}
	purge := time.NewTimer(first)
	defer purge.Stop()
	commit := time.NewTimer(time.Hour)
	defer commit.Stop()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for !w.lost {
		select {
		case <-w.r.closing.Done():
			w.flush()
			return
		case <-w.r.queue.nudge:
		case <-commit.C:
		case <-look.C:
			if why := cmp.Or(w.gone(w.files), w.gone(w.lock)); why != nil {
				w.lose(&chunk{}, why)
			}
		case <-purge.C:
			purge.Reset(w.housekeep())
		case b := <-w.blocks:
			if w.store(b) {
				purge.Reset(w.packing.soon)
			}
		}
		if w.due() == 0 {
			w.flush()
		}
		if due := w.due(); due >= 0 {
			commit.Reset(due)
		}
	}
}

// due is the time until the next commit; negative when nothing waits.
func (w *writer) due() time.Duration {
	return w.r.queue.due(time.Now(), w.r.retention.Load().durableWithin())
}

// flush writes everything that waits, a chunk at a time, and tells whoever waits
// for it.
func (w *writer) flush() {
	for !w.lost {
		c := w.r.queue.take(time.Now())
		if c.empty() {
			return
		}
		t := w.writeUntilDone(&c)
		if t == nil {
			return
		}
		w.sequences, w.inputRun, w.sha, w.named, w.quality, w.rollup = t.sequences, t.run, t.sha, t.named, t.texts.before, t.rollup
		for i := range c.entries {
			if e := &c.entries[i]; e.waits != nil && w.o.Journalled != nil {
				w.o.Journalled(e.waits.events, t.told[i])
			}
			w.purge.observe(c.entries[i].Input)
		}
		w.r.feed.durable(c.entries, t.told, t.sequences)
		w.r.queue.written(&c) // not before: what waits no more can be read
	}
}

// writeUntilDone tries until the chunk is on disk; nil when Close has given up
// waiting for that, or the files are gone.
func (w *writer) writeUntilDone(c *chunk) *transaction {
	for wait := retryFirst; ; wait = min(2*wait, retryLast) {
		var t *transaction
		err := w.attempt(func(tx *sql.Tx) (err error) {
			t, err = w.write(tx, c)
			return err
		})
		if why := w.gone(w.files); why != nil { // what has just been written is lost with the files
			w.lose(c, why)
			return nil
		}
		if err == nil {
			w.recovered()
			return t
		}
		w.complain(err)
		select {
		case <-w.r.abandon.Done():
			w.r.queue.giveBack(c) // it waits still, and Close says so
			return nil
		case <-time.After(wait):
		}
	}
}

// complain logs a failure once, and again when another reason takes its place.
func (w *writer) complain(err error) {
	if w.complaint == err.Error() {
		return
	}
	w.complaint = err.Error()
	w.log.Error("recording: nothing is written until this is mended", "err", err)
}

func (w *writer) recovered() {
	if w.complaint == "" {
		return
	}
	w.complaint = ""
	w.log.Info("recording: works again", "dropped", w.r.queue.drops())
}

// attempt runs one transaction under the eye of the health.
func (w *writer) attempt(work func(*sql.Tx) error) (err error) {
	w.r.health.begin(time.Now())
	defer func() { w.r.health.end(time.Now(), err) }()
	tx, err := w.db.Begin()
	if err != nil {
		return explain(w.path, "begin", err)
	}
	defer tx.Rollback()
	if err := work(tx); err != nil {
		return explain(w.path, "write", err)
	}
	if err := w.o.Commit(tx.Commit); err != nil {
		return explain(w.path, "commit", err)
	}
	return nil
}

// write puts a chunk into a transaction. Numbers are given out here and count
// only once they are on disk, so that a failed attempt leaves no hole.
func (w *writer) write(tx *sql.Tx, c *chunk) (*transaction, error) {
	t := &transaction{
		w: w, tx: tx, sequences: maps.Clone(w.sequences), run: w.inputRun, sha: w.sha, named: w.named,
		told: make([][]int64, len(c.entries)), texts: texts{tx: tx, before: w.quality}, rollup: w.rollup,
	}
	for i := range c.entries {
		e := &c.entries[i]
		if e.hasInput {
			if err := t.input(e); err != nil {
				return nil, fmt.Errorf("input %d: %w", e.Input.Number, err)
			}
		}
		if e.State != nil {
			if err := t.sample(e.State); err != nil {
				return nil, fmt.Errorf("row: %w", err)
			}
		}
		for _, event := range e.Events {
			sequence, err := t.event(event, e.Input.Synchronised)
			if err != nil {
				return nil, fmt.Errorf("event: %w", err)
			}
			t.told[i] = append(t.told[i], sequence)
		}
	}
	return t, t.rest(c)
}

// closeAll closes the readers first: the last connection to go folds the log
// into the database, and a read-only one cannot. Of a database that was moved
// away SQLite leaves the log where it was, so it is folded in before.
func (w *writer) closeAll() {
	if w.packs {
		<-w.blocks
	}
	w.r.Reader.Close()
	w.statements.close()
	if w.lost {
		if _, err := w.db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
			w.log.Error("recording: close", "err", explain(w.path, "close", err))
		}
	}
	if err := w.db.Close(); err != nil {
		w.log.Error("recording: close", "err", explain(w.path, "close", err))
	}
	w.r.lock.Close()
}

// housekeep does one step of what nobody waits for, and says when to come again. Rows of
// schema 1 are moved before anything is purged, for what is oldest is among them.
func (w *writer) housekeep() time.Duration {
	more, step := false, w.purge.step
	switch {
	case w.packed.run != 0:
		step = w.letGo
	case w.moving:
		step = w.move
	case !w.rolled:
		step = w.catchUp
	}
	w.purge.retention = *w.r.retention.Load()
	err := w.attempt(func(tx *sql.Tx) (err error) {
		more, err = step(tx)
		return err
	})
	if err != nil {
		w.log.Error("recording: purge", "err", err)
		return w.packing.every
	}
	w.occupied()
	if !w.rolled {
		w.rollup = w.caught
	}
	switch {
	case more:
	case w.packed.run != 0:
		w.packed, more = block{}, true
	case w.moving:
		w.moving, more = false, true
		w.log.Info("recording: the rows of before are all in the new table")
	case !w.rolled:
		w.rolled, more = true, true
	}
	w.packMore()
	if more {
		return w.packing.soon
	}
	return w.packing.every
}
