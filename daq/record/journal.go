package record

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/daq"
)

// reopenEvery is how often a recording that could not be opened is tried again.
const reopenEvery = 2 * time.Second

// heldLimit bounds the steps with events that wait for a recording that cannot be opened.
const heldLimit = 1000

// closeWithin is how long a lost recording may take to close.
const closeWithin = 5 * time.Second

// Journal is the recording as the daemon has it: the recorder, or the fact that
// there is none now, for a directory that cannot be written must not keep the rig
// from being watched. The feed that others read goes on meanwhile.
type Journal struct {
	*feed
	o      JournalOptions
	open   atomic.Pointer[Recorder]
	keeper Keeper        // nil where nothing holds a permit
	anew   chan struct{} // closed: the recording has what the start did not know
	once   sync.Once

	start   atomic.Pointer[daq.Start] // or reload that the engine last made
	seen    sync.Map                  // daq.SavedAlarm by name: of its last transition
	foreign atomic.Bool               // it is another recording than the one before: marks are not its own

	mu        sync.Mutex
	retention Retention
	why       error
	started   bool             // the start has restored the alarms
	given     []daq.SavedAlarm // which those were
	was       string           // the UUID of the recording that was lost
	hangs     bool             // its disk holds on to it, and so to its lock
	back      []step           // what was taken back from it
	held      []step           // starts, reloads, and steps with events, to be journalled when the disk is there
	lost      int              // events that found no room there
}

// JournalOptions are what a journal needs.
type JournalOptions struct {
	Options
	Directory string

	// Standing gives the alarms as they stand, for a recording in place of one that
	// was lost. nil: none.
	Standing func() []daq.AlarmEvent
}

// Keeper keeps what holds the heating permit outside the recording. No method may
// wait.
type Keeper interface {
	// Observe hears of the events of a step before the disk has them.
	Observe(events []daq.Event)
	// Journalled hears which sequences they have there.
	Journalled(events []daq.Event, sequences []int64)
	// Recording names the recording that goes on.
	Recording(uuid string, newest int64)
}

// NewJournal opens the recording, or keeps the reason why not: Run tries again.
func NewJournal(o JournalOptions) *Journal {
	o.Options = o.Options.withDefaults()
	j := &Journal{feed: o.feed, o: o, retention: o.Retention, anew: make(chan struct{})}
	j.try()
	return j
}

// Keep lets a keeper follow, from before the first step on.
func (j *Journal) Keep(k Keeper) { j.keeper = k }

// Anew is closed when the daemon has to begin anew: the recording has alarms that
// the start did not know.
func (j *Journal) Anew() <-chan struct{} { return j.anew }

func (j *Journal) beginAnew() { j.once.Do(func() { close(j.anew) }) }

// Begin says which alarms the engine begins with.
func (j *Journal) Begin(alarms []daq.SavedAlarm) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.started, j.given = true, alarms
	for _, s := range alarms {
		j.seen.Store(s.Name, s)
	}
}

// Adjust takes up how long and how much is kept; the directory stays.
func (j *Journal) Adjust(h Retention) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.retention = h
	if rec := j.open.Load(); rec != nil {
		rec.Adjust(h)
	}
}

// Put is the journal of the loop. It never blocks.
func (j *Journal) Put(b daq.Batch) {
	if b.Input.Start != nil {
		j.start.Store(b.Input.Start)
	}
	s := j.step(b)
	if rec := j.open.Load(); rec != nil && rec.put(s) {
		return
	}
	if rec := j.hold(s); rec != nil {
		rec.put(s)
	}
}

// step tells feed and keeper of what is on its way to the disk.
func (j *Journal) step(b daq.Batch) step {
	for _, e := range b.Events {
		if e.Alarm != nil {
			j.seen.Store(e.Alarm.Name, e.Alarm.Saved())
		}
	}
	if j.keeper != nil && len(b.Events) > 0 {
		j.keeper.Observe(b.Events)
	}
	return step{b, j.feed.begin(&b)}
}

func (j *Journal) journalled(events []daq.Event, sequences []int64) {
	if j.keeper != nil {
		j.keeper.Journalled(events, sequences)
	}
}

// hold keeps starts, reloads and events until there is a recording. It gives the recording where
// that has been opened meanwhile, and then keeps nothing.
func (j *Journal) hold(s step) *Recorder {
	j.mu.Lock()
	defer j.mu.Unlock()
	switch rec := j.open.Load(); {
	case rec != nil:
		return rec
	case len(j.held) < heldLimit && (begins(s.Batch) || len(s.Events) > 0):
		j.held = append(j.held, s)
	default:
		j.lost += len(s.Events)
		if begins(s.Batch) {
			s.Events, s.waits = nil, nil
			j.held = append(j.held, s)
		}
	}
	return nil
}

// begins says whether a step begins a run or a configuration: what comes later
// would be taken for a part of the one before. There are few.
func begins(b daq.Batch) bool { return b.Input.Kind == daq.KindStart || b.Input.Kind == daq.KindReload }

// LostEvents counts what found no room while there was no recording.
func (j *Journal) LostEvents() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return uint64(j.lost)
}

// Run tries again until the recording is open, and whenever it is lost.
func (j *Journal) Run(ctx context.Context) error {
	for ctx.Err() == nil {
		j.reopen(ctx)
		rec := j.open.Load()
		if rec == nil {
			return nil
		}
		select {
		case <-ctx.Done():
		case <-rec.Lost():
			j.lose(rec)
			j.try()
		}
	}
	return nil
}

func (j *Journal) reopen(ctx context.Context) {
	tick := time.NewTicker(reopenEvery)
	defer tick.Stop()
	for j.open.Load() == nil {
		j.mu.Lock()
		why, lost := j.why, j.lost
		j.mu.Unlock()
		j.o.Log.Error("nothing is recorded", "why", why, "events lost", lost)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			j.try()
		}
	}
}

// settleWithin is how long the last rows may take to the disk before the others
// end without them.
const settleWithin = 500 * time.Millisecond

// Settle waits for the end, and then for what is still to be written, and to be
// told.
func (j *Journal) Settle(ctx context.Context) error {
	<-ctx.Done()
	rec := j.open.Load()
	if rec != nil {
		rec.Hurry()
	}
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	over := time.Now().Add(settleWithin)
	for rec != nil && rec.Waiting() > 0 && time.Now().Before(over) || !j.feed.idle() {
		<-tick.C
	}
	return nil
}

// Close writes what is waiting.
func (j *Journal) Close(ctx context.Context) error {
	if rec := j.open.Load(); rec != nil {
		return rec.Close(ctx)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return fmt.Errorf("%d steps with events are not recorded, and no row of that time: %w", len(j.back)+len(j.held), j.why)
}
