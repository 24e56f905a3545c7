// Package record owns the recording: one SQLite database, flowrig.db, that
// holds every row, alarm transition, note and input, and from which everything
// that must arrive elsewhere is read by sequence.
//
//	Batch → feed and bounded queue → writer (one transaction) → feed → readers
//
// A Recorder has one database open. A Journal is what the daemon has: the recorder,
// or the fact that there is none now, and the one feed of events that everybody else
// reads. It judges nothing and computes no quantity. It publishes nothing: a
// publisher reads the feed and moves its own mark. Put never waits for the disk.
package record

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"
	"os"
	"sync/atomic"
	"time"

	"flowrigd/daq"
)

// FileName is the database in the recording's directory.
const FileName = "flowrig.db"

// Retention is how soon rows are on disk and how long they are kept; it may
// change while a recording is written. A DurableWithin of
// zero is the default; a zero Keep, KeepInputs or MaxSize keeps everything.
type Retention struct {
	DurableWithin time.Duration // a row is on disk within this; default 1 s
	Keep          time.Duration // age at which rows, notes and alarms may go
	KeepInputs    time.Duration // the same for inputs
	MaxSize       int64         // bytes in use; beyond it the oldest inputs go, then rows, then notes, and alarms last
}

func (h Retention) durableWithin() time.Duration {
	if h.DurableWithin <= 0 {
		return time.Second
	}
	return h.DurableWithin
}

// Options are what a recording needs.
type Options struct {
	Retention
	Log *slog.Logger

	// Start is the one under whose configuration rows are made until a start or a
	// reload is recorded; nil: none.
	Start *daq.Start

	// Build names the program, so that a replay knows whether it is the same one.
	Build string

	// Commit stands between a transaction and the disk, so that a test can let
	// the disk hang or fill. nil commits.
	Commit func(commit func() error) error

	// Journalled hears from the writer which sequences the events of a step have on
	// disk; nil for nobody. It must not block.
	Journalled func(events []daq.Event, sequences []int64)

	feed *feed // that outlives this opening; nil: its own

	stat    func(string) (os.FileInfo, error) // os.Stat; a test's own
	packing packing                           // usualPacking; a test's own
}

func (o Options) withDefaults() Options {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Commit == nil {
		o.Commit = disk
	}
	if o.stat == nil {
		o.stat = os.Stat
	}
	if o.packing == (packing{}) {
		o.packing = usualPacking
	}
	if o.feed == nil {
		o.feed = newFeed()
	}
	return o
}

// Recorder writes a recording and reads it. Every method may be called from
// anywhere; none but Close and the reading ones waits for the disk.
type Recorder struct {
	*Reader
	*feed
	queue     *queue
	health    health
	retention atomic.Pointer[Retention]
	occupancy atomic.Pointer[daq.Occupancy]
	restored  Restored // what was there when it was opened
	lock      *sql.DB
	lost      chan struct{}   // closed: the files are gone
	closing   context.Context // ended: write what is there and stop
	abandon   context.Context // ended: stop retrying
	stop      context.CancelFunc
	giveUp    context.CancelFunc
	done      chan struct{}
}

// Open opens the recording in dir for writing, making directory and database
// where they are missing. One process at a time may hold it. The error says
// what to do when the directory cannot be used, the database is damaged or
// comes from a newer flowrigd.
func Open(dir string, o Options) (*Recorder, error) {
	o = o.withDefaults()
	if err := prepareDirectory(dir); err != nil {
		return nil, err
	}
	if err := checkLinks(dir); err != nil {
		return nil, err
	}
	lock, err := lockDirectory(dir)
	if err != nil {
		return nil, err
	}
	r, err := openLocked(dir, lock, o)
	if err != nil {
		lock.Close()
		return nil, err
	}
	return r, nil
}

func openLocked(dir string, lock *sql.DB, o Options) (*Recorder, error) {
	path := databasePath(dir)
	db, err := openWriter(path)
	if err != nil {
		return nil, err
	}
	tighten(dir, o.Log)
	reader, err := OpenReader(dir)
	if err != nil {
		db.Close()
		return nil, err
	}
	r := &Recorder{
		Reader: reader,
		feed:   o.feed,
		queue:  newQueue(),
		lock:   lock,
		lost:   make(chan struct{}),
		done:   make(chan struct{}),
	}
	r.closing, r.stop = context.WithCancel(context.Background())
	r.abandon, r.giveUp = context.WithCancel(context.Background())
	r.retention.Store(&o.Retention)
	w, err := newWriter(r, db, path, o)
	if err != nil {
		reader.Close()
		db.Close()
		return nil, err
	}
	if r.restored, err = reader.Restore(context.Background()); err != nil {
		w.closeAll()
		return nil, err
	}
	r.feed.opened(r.restored)
	go w.run()
	return r, nil
}

// Put hands a step to the writer and returns at once. A batch whose input has no
// number is recorded without it. false: the recording is lost, and what waited has
// been taken back.
func (r *Recorder) Put(b daq.Batch) bool { return r.put(step{b, r.feed.begin(&b)}) }

func (r *Recorder) put(s step) bool { return r.queue.put(s, time.Now()) }

// Lost is closed when the database's files were removed or replaced: nothing is
// written any more.
func (r *Recorder) Lost() <-chan struct{} { return r.lost }

// takeBack gives what was put into a lost recording and has not been told as
// recorded, and lets put take no more.
func (r *Recorder) takeBack() []step { return r.queue.takeBack() }

// Adjust takes up another retention, from the next row and the next purge. What
// waits by the old ones is written at once.
func (r *Recorder) Adjust(h Retention) {
	r.retention.Store(&h)
	r.queue.hurry(time.Now())
}

// Mark remembers that a destination has everything of a class up to and
// including sequence. It goes to disk with a later commit: after a crash some
// messages go out twice, none is left out. A mark never moves back.
func (r *Recorder) Mark(destination string, class daq.Class, sequence int64) {
	r.queue.mark(markKey{destination, class}, sequence, time.Now())
}

// Newest is the sequence of the newest row on disk, 0 when there is none.
func (r *Recorder) Newest() int64 { return r.feed.newestOf(daq.ClassRecord) }

// Pending gives the next messages of a class as Reader.Pending does: without the disk
// where they are at hand.
func (r *Recorder) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if list, ok := r.AtHand(class, after, limit); ok {
		return list, nil
	}
	return r.Reader.Pending(ctx, class, after, limit)
}

// Dropped counts what a disk that did not answer has cost.
func (r *Recorder) Dropped() Drops { return r.queue.drops() }

// Hurry writes what waits at once, without waiting for that: Waiting says when
// it is done.
func (r *Recorder) Hurry() { r.queue.hurry(time.Now()) }

// Waiting is the number of steps that are not on disk yet.
func (r *Recorder) Waiting() int { return r.queue.waiting() }

// Healthy is false as soon as a commit has failed, or has not come back for a
// second: since when, and why.
func (r *Recorder) Healthy() (ok bool, since time.Time, why string) {
	return r.health.look(time.Now())
}

// Close writes what is queued and closes the database. It gives up when ctx
// ends, with an error that says how much is not on disk.
func (r *Recorder) Close(ctx context.Context) error {
	r.stop()
	select {
	case <-r.done:
	case <-ctx.Done():
		r.giveUp()
		select {
		case <-r.done:
		case <-time.After(abandonGrace): // the disk hangs inside a commit: nothing can end that
		}
	}
	if n := r.queue.waiting(); n > 0 {
		return fmt.Errorf("%s: close: %d steps are not on disk: the disk did not take them in time", r.path, n)
	}
	return nil
}

// abandonGrace is how long a commit that is under way may still take once the
// grace time of Close is over.
const abandonGrace = 100 * time.Millisecond
