package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/hold"
	"flowrigd/daq/record"
	"flowrigd/daq/web"
)

// reopenEvery is how often a recording that could not be opened is tried again.
const reopenEvery = 2 * time.Second

// heldLimit bounds the steps with events that wait for a recording that cannot be opened.
const heldLimit = 1000

// recording is the recorder, or the fact that there is none yet: a directory
// that cannot be written must not keep the rig from being watched.
type recording struct {
	log  *slog.Logger
	open atomic.Pointer[record.Recorder]

	keeper *hold.Keeper  // of what holds the permit; nil where there is none, or the file is another daemon's
	anew   chan struct{} // closed: the recording has what the start did not know, so the daemon begins anew
	once   sync.Once

	standing func() []daq.AlarmEvent // the alarms as they stand; nil before the engine
	sha      atomic.Pointer[string]  // of the configuration that the engine runs
	seen     sync.Map                // daq.SavedAlarm by name: of its last transition
	foreign  atomic.Bool             // it is another recording than the one before: marks are not its own

	mu      sync.Mutex
	cfg     config.Record
	why     error
	started bool             // the start has restored the alarms
	given   []daq.SavedAlarm // which those were
	was     string           // the UUID of the recording that was lost
	hangs   bool             // its disk holds on to it, and so to its lock
	back    []daq.Batch      // what was taken back from it
	held    []daq.Batch      // starts, reloads, and steps with events, to be journalled when the disk is there
	lost    int              // events that found no room there
}

// openRecording opens the recording, or keeps the reason why not.
func openRecording(cfg config.Record, log *slog.Logger) *recording {
	r := &recording{cfg: cfg, log: log, anew: make(chan struct{})}
	r.try()
	return r
}

// try opens the recording and journals what was held back meanwhile. Where the
// recording has alarms that the start did not know, the daemon begins anew.
func (r *recording) try() bool {
	r.mu.Lock()
	cfg := r.cfg
	r.mu.Unlock()
	o := record.Options{Retention: retentionOf(cfg), Log: r.log, Commit: commitSeam()}
	if sha := r.sha.Load(); sha != nil {
		o.Configuration = *sha
	}
	rec, err := record.Open(cfg.Directory, o)
	var past *hold.Past
	if err == nil {
		if past, err = pastOf(rec.Reader); err != nil {
			rec.Close(context.Background())
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.why = err
	if err != nil {
		if errors.Is(err, record.ErrInUse) && r.started && !r.hangs {
			r.log.Warn("another flowrigd has taken the recording, and with it the rig: the daemon begins anew and stands by")
			r.beginAnew()
		}
		return false
	}
	rec.Adjust(retentionOf(r.cfg)) // a reload may have changed them while the disk was asked
	switch {
	case r.was == "" && r.started:
		r.adopt(past)
	case r.was != "" && r.was != past.Recording:
		r.replace(past)
	}
	for _, b := range append(r.back, r.held...) {
		rec.Put(b)
	}
	r.back, r.held = nil, nil
	r.open.Store(rec)
	if r.lost > 0 {
		r.log.Error("events from the time without a recording are lost", "events", r.lost)
	}
	return true
}

// adopt looks at a recording that was opened after the start. A trip in it that
// nobody knew of ends with no event of the time before. The lock is held.
func (r *recording) adopt(past *hold.Past) {
	r.follow(past)
	for _, s := range past.Alarms {
		if !unknown(s, r.given) {
			continue
		}
		if s.Tripped {
			holdOn(r.held, s.Name)
		}
		r.log.Warn("the recording has alarms from before this start: the daemon begins anew with them", "alarm", s.Name)
		r.beginAnew()
	}
}

// follow names the recording in the permit file.
func (r *recording) follow(past *hold.Past) {
	if r.keeper != nil {
		r.keeper.Recording(past.Recording, past.Newest)
	}
}

// replace goes on in another recording than the one that was lost: there is one
// more row of each alarm that stands, and the daemon begins anew with them. The
// lock is held.
func (r *recording) replace(past *hold.Past) {
	r.foreign.Store(true)
	r.follow(past)
	events := []daq.Event{{Note: &daq.Note{Kind: "gap", Time: time.Now().UTC(), Text: "the recording " + r.was + " was removed or replaced while it was in use; this one goes on after it"}}}
	for _, a := range r.standing() {
		events = append(events, daq.Event{Alarm: &a})
	}
	for i := range r.back {
		r.back[i].Input = daq.Input{} // of a run whose beginning is not here
	}
	for i := range r.held {
		r.held[i].Input = daq.Input{}
	}
	// Last, for the steps that wait may say something older of the same alarms.
	r.held = append(r.held, r.watched(daq.Batch{Events: events}))
	for _, s := range past.Alarms {
		if s.Tripped {
			holdOn(r.back, s.Name)
			holdOn(r.held, s.Name)
		}
	}
	r.log.Warn("recording: goes on in another one, and the daemon begins anew", "recording", past.Recording, "before", r.was)
	r.beginAnew()
}

// unknown says whether a start would bring up an alarm that this one did not.
func unknown(s daq.SavedAlarm, given []daq.SavedAlarm) bool {
	plain := !s.Tripped && s.State == alarm.Normal.String()
	return !plain && !slices.ContainsFunc(given, func(g daq.SavedAlarm) bool {
		return g.Name == s.Name && g.State == s.State && (g.Tripped || !s.Tripped)
	})
}

// holdOn makes the events of an alarm keep the trip that stood before them.
func holdOn(held []daq.Batch, name string) {
	for i := range held {
		for k, e := range held[i].Events {
			if e.Alarm == nil || e.Alarm.Name != name || e.Alarm.Tripped {
				continue
			}
			a := *e.Alarm // it has been told as it was
			a.Tripped = true
			held[i].Events = slices.Clone(held[i].Events)
			held[i].Events[k].Alarm = &a
		}
	}
}

func (r *recording) beginAnew() { r.once.Do(func() { close(r.anew) }) }

// standsBy says whether another daemon records here: that one has the rig.
func (r *recording) standsBy() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return errors.Is(r.why, record.ErrInUse)
}

// await waits until the other daemon's lock is free, and lets this one begin anew.
// Where the disk cannot be asked the other one may still have the rig.
func (r *recording) await(ctx context.Context) error {
	tick := time.NewTicker(reopenEvery)
	defer tick.Stop()
	for why := r.healthy(); why != nil; why = record.Free(r.cfg.Directory) {
		r.log.Error("stands by: reads no instrument, writes no relay and tells nobody", "why", why)
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
	r.log.Warn("the other flowrigd has ended: takes over with its alarms")
	r.beginAnew()
	return nil
}

func retentionOf(cfg config.Record) record.Retention {
	return record.Retention{DurableWithin: cfg.DurableWithin, Keep: cfg.Keep, KeepInputs: cfg.KeepInputs, MaxSize: cfg.MaxSize}
}

// adjust takes up how long and how much is kept; the directory stays.
func (r *recording) adjust(cfg config.Record) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cfg = cfg
	if rec := r.open.Load(); rec != nil {
		rec.Adjust(retentionOf(cfg))
	}
}

// Run tries again until the recording is open, and whenever it is lost.
func (r *recording) Run(ctx context.Context) error {
	for ctx.Err() == nil {
		r.reopen(ctx)
		rec := r.open.Load()
		if rec == nil {
			return nil
		}
		select {
		case <-ctx.Done():
		case <-rec.Lost():
			r.lose(rec)
			r.try()
		}
	}
	return nil
}

// lose takes back what a lost recording had not told as recorded.
func (r *recording) lose(rec *record.Recorder) {
	r.mu.Lock()
	_, _, why := rec.Healthy()
	r.open.Store(nil)
	r.why, r.was, r.back = errors.New("recording: "+why), rec.Recording(), rec.TakeBack()
	r.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), stopRecording)
	defer cancel()
	if err := rec.Close(ctx); err != nil {
		r.log.Error("recording: the lost one is left behind", "why", err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.hangs = ctx.Err() != nil
}

func (r *recording) reopen(ctx context.Context) {
	tick := time.NewTicker(reopenEvery)
	defer tick.Stop()
	for r.open.Load() == nil {
		r.mu.Lock()
		why, lost := r.why, r.lost
		r.mu.Unlock()
		r.log.Error("nothing is recorded", "why", why, "events lost", lost)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			r.try()
		}
	}
}

// Put is the journal of the loop. It never blocks.
func (r *recording) Put(b daq.Batch) {
	if b.Input.Start != nil {
		r.sha.Store(&b.Input.Start.Configuration)
	}
	b = r.watched(b)
	if rec := r.open.Load(); rec != nil && rec.Put(b) {
		return
	}
	if rec := r.hold(b); rec != nil {
		rec.Put(b)
	}
}

// watched lets the permit file follow a step, and remembers its alarms.
func (r *recording) watched(b daq.Batch) daq.Batch {
	for _, e := range b.Events {
		if e.Alarm != nil {
			r.seen.Store(e.Alarm.Name, e.Alarm.Saved())
		}
	}
	if r.keeper == nil || len(b.Events) == 0 {
		return b
	}
	note, told := r.keeper.Observe(b.Events), b.Receipts
	b.Receipts = func(list []daq.Receipt) {
		note(list)
		if told != nil {
			told(list)
		}
	}
	return b
}

// hold keeps starts, reloads and events until there is a recording. It gives the recording where
// that has been opened meanwhile, and then keeps nothing.
func (r *recording) hold(b daq.Batch) *record.Recorder {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch rec := r.open.Load(); {
	case rec != nil:
		return rec
	case len(r.held) < heldLimit && (begins(b) || len(b.Events) > 0):
		r.held = append(r.held, b)
	default:
		r.lost += len(b.Events)
		if begins(b) {
			b.Events, b.Receipts = nil, nil
			r.held = append(r.held, b)
		}
	}
	return nil
}

// begins says whether a step begins a run or a configuration: what comes later
// would be taken for a part of the one before. There are few.
func begins(b daq.Batch) bool { return b.Input.Kind == daq.KindStart || b.Input.Kind == daq.KindReload }

// lostEvents counts what found no room while there was no recording.
func (r *recording) lostEvents() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return uint64(r.lost)
}

// healthy says whether the disk answers, and why not.
func (r *recording) healthy() error {
	rec := r.open.Load()
	if rec == nil {
		r.mu.Lock()
		defer r.mu.Unlock()
		return r.why
	}
	if ok, since, why := rec.Healthy(); !ok {
		return fmt.Errorf("recording: not written since %s: %s", daq.FormatTime(since), why)
	}
	return nil
}

// settleWithin is how long the last rows may take to the disk before the others
// end without them.
const settleWithin = 500 * time.Millisecond

// settle waits for the end, and then for what is still to be written.
func (r *recording) settle(ctx context.Context) error {
	<-ctx.Done()
	rec := r.open.Load()
	if rec == nil {
		return nil
	}
	rec.Hurry()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for over := time.After(settleWithin); rec.Waiting() > 0; {
		select {
		case <-over:
			return nil
		case <-tick.C:
		}
	}
	return nil
}

// Close writes what is waiting.
func (r *recording) Close(ctx context.Context) error {
	if rec := r.open.Load(); rec != nil {
		return rec.Close(ctx)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return fmt.Errorf("%d steps with events are not recorded, and no row of that time: %w", len(r.back)+len(r.held), r.why)
}

// Recording is the UUID of the database; "" without one.
func (r *recording) Recording() string {
	if rec := r.open.Load(); rec != nil {
		return rec.Recording()
	}
	return ""
}

// Newest is the sequence of the newest row on disk.
func (r *recording) Newest() int64 {
	if rec := r.open.Load(); rec != nil {
		return rec.Newest()
	}
	return 0
}

var errNoRecording = errors.New("there is no recording yet: see /readyz")

// Pending, Mark, Marked and Wake are the outbox of the publisher.
func (r *recording) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if rec := r.open.Load(); rec != nil {
		return rec.Pending(ctx, class, after, limit)
	}
	return nil, nil
}

// Mark keeps what arrived at a destination.
func (r *recording) Mark(destination string, class daq.Class, sequence int64) {
	if rec := r.open.Load(); rec != nil && !r.foreign.Load() {
		rec.Mark(destination, class, sequence)
	}
}

// Marked is what arrived at a destination.
func (r *recording) Marked(destination string, class daq.Class) (int64, error) {
	if rec := r.open.Load(); rec != nil {
		return rec.Marked(destination, class)
	}
	return 0, errNoRecording
}

// Wake is ready when something new is on disk.
func (r *recording) Wake() <-chan struct{} {
	if rec := r.open.Load(); rec != nil {
		return rec.Wake()
	}
	return nil
}

// Trend and AlarmHistory are the history of the page.
func (r *recording) Trend(ctx context.Context, id quantity.ID, from, to time.Time, buckets int) ([]web.Bucket, error) {
	rec := r.open.Load()
	if rec == nil {
		return nil, errNoRecording
	}
	list, err := rec.Trend(ctx, id, from, to, buckets)
	out := make([]web.Bucket, len(list))
	for i, b := range list {
		out[i] = web.Bucket{Time: b.Time, Min: b.Min, Mean: b.Mean, Max: b.Max, Count: int(b.Count)}
	}
	return out, err
}

// AlarmFigures sums up the journal.
func (r *recording) AlarmFigures(ctx context.Context, from, to time.Time) (alarm.Figures, error) {
	rec := r.open.Load()
	if rec == nil {
		return alarm.Figures{}, errNoRecording
	}
	return rec.AlarmFigures(ctx, from, to)
}

// AlarmHistory is the newest transitions, the newest first.
func (r *recording) AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error) {
	rec := r.open.Load()
	if rec == nil {
		return nil, errNoRecording
	}
	return rec.AlarmHistory(ctx, limit)
}
