package record

import (
	"context"
	"slices"
	"sync"
	"time"

	"flowrigd/daq"
)

const (
	// tellWithin is how long the disk may take before an event is told without it.
	tellWithin = time.Second
	// recentLimit is how many of the events told last are at hand without the disk.
	recentLimit = 256
	// provisionalLimit bounds the alarms told without the disk and not recorded yet.
	provisionalLimit = 1000
)

// feed is the one way on which everybody learns of events. It lives longer than
// any one opening of the database, and never asks the disk.
//
//	begin → waiting, a second at most → told: recorded or provisional → recorded after all
//
// It is no queue of what must arrive: that is the database. What is told without
// the disk is kept until the writer says that it has it.
type feed struct {
	mu          sync.Mutex
	wake        chan struct{} // closed and replaced when something was told
	recording   string        // the UUID of the database; "" before the first
	newest      map[daq.Class]int64
	steps       int64      // counts what begin was given
	waiting     []*waiting // oldest first
	expiry      *time.Timer
	told        []told        // the last ones, oldest first
	number      int64         // of the last one told
	provisional []provisional // oldest first
	last        int64         // number of the last provisional message
	latest      map[string]provisional
	dropped     int64 // provisional messages that found no room
	missed      int64 // events that a follower was too slow for
}

// waiting is the events of one step on their way to the disk, and what answers its
// command.
type waiting struct {
	events []daq.Event
	step   int64
	answer chan<- daq.Reply // nil: nobody waits, or no longer
	reply  daq.Reply
	until  time.Time
}

// told is an event as it was told.
type told struct {
	daq.Message
	recorded bool // in this database
}

// provisional is an alarm's message with the step that it is of.
type provisional struct {
	daq.Message
	step int64
}

func newFeed() *feed {
	f := &feed{wake: make(chan struct{}), newest: map[daq.Class]int64{}, latest: map[string]provisional{}}
	f.expiry = time.AfterFunc(tellWithin, f.expire)
	f.expiry.Stop()
	return f
}

// begin takes the events of a step before the writer has them; nil where there is
// nothing to wait for.
func (f *feed) begin(b *daq.Batch) *waiting {
	w := &waiting{events: b.Events, until: time.Now().Add(tellWithin)}
	if b.Reply != nil && b.Input.Command != nil {
		w.answer, w.reply = b.Input.Command.Answer, *b.Reply
	}
	if len(w.events) == 0 {
		w.giveReply()
		return nil
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.steps++
	w.step = f.steps
	f.waiting = append(f.waiting, w)
	if len(f.waiting) == 1 {
		f.expiry.Reset(tellWithin)
	}
	return w
}

// giveReply answers the command, once.
func (w *waiting) giveReply() {
	if w.answer != nil {
		w.answer <- w.reply // there is room for it
		w.answer = nil
	}
}

// expire tells what has waited for a second without the disk.
func (f *feed) expire() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for len(f.waiting) > 0 && !time.Now().Before(f.waiting[0].until) {
		w := f.waiting[0]
		f.waiting = f.waiting[1:]
		for _, e := range w.events {
			f.tellProvisional(w.step, e.Message("", 0))
		}
		w.giveReply()
	}
	if len(f.waiting) > 0 {
		f.expiry.Reset(time.Until(f.waiting[0].until))
	}
	f.wakeAll()
}

func (f *feed) tellProvisional(step int64, m daq.Message) {
	f.tell(told{m, false})
	if m.Class != daq.ClassAlarm {
		return
	}
	f.last++
	m.Sequence = f.last
	p := provisional{m, step}
	f.provisional, f.latest[m.Name] = append(f.provisional, p), p
	if len(f.provisional) > provisionalLimit {
		f.provisional = slices.Delete(f.provisional, 0, 1)
		f.dropped++
	}
}

// tell keeps a message at hand. The lock is held, as in all below.
func (f *feed) tell(t told) {
	if len(f.told) == recentLimit {
		f.told = slices.Delete(f.told, 0, 1)
	}
	f.told, f.number = append(f.told, t), f.number+1
}

// durable tells what a transaction has brought to the disk.
func (f *feed) durable(entries []entry, sequences [][]int64, newest map[daq.Class]int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.newest = newest
	for i := range entries {
		step := f.steps + 1 // of what the queue itself has to say
		if w := entries[i].waits; w != nil {
			step = w.step
			f.waiting = slices.DeleteFunc(f.waiting, func(o *waiting) bool { return o == w })
			w.giveReply()
		}
		for k, e := range entries[i].Events {
			f.tellRecorded(step, e.Message(f.recording, sequences[i][k]))
		}
	}
	f.wakeAll()
}

// tellRecorded takes the place of what was told of the alarm without the disk up to
// this step.
func (f *feed) tellRecorded(step int64, m daq.Message) {
	f.tell(told{m, true})
	if m.Class != daq.ClassAlarm {
		return
	}
	f.provisional = slices.DeleteFunc(f.provisional, func(p provisional) bool { return p.Name == m.Name && p.step <= step })
	if f.latest[m.Name].step <= step {
		f.latest[m.Name] = provisional{m, step}
	}
}

func (f *feed) wakeAll() {
	close(f.wake)
	f.wake = make(chan struct{})
}

// opened goes on with a database: with the numbers given out there and each alarm's
// newest message.
func (f *feed) opened(past Restored) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.recording, f.newest, f.latest = past.Recording, past.Newest, map[string]provisional{}
	for i := range f.told {
		f.told[i].recorded = false // there, but perhaps not here
	}
	for name, m := range past.Latest {
		f.latest[name] = provisional{m, 0}
	}
	for _, p := range f.provisional {
		f.latest[p.Name] = p
	}
	f.wakeAll()
}

// Wake is closed when something new was told. Take the channel before reading, so
// that nothing is missed in between.
func (f *feed) Wake() <-chan struct{} {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.wake
}

// AtHand gives what Pending gives, without the disk; false where the disk has to be
// asked.
func (f *feed) AtHand(class daq.Class, after int64, limit int) (list []daq.Message, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if newest, known := f.newest[class]; known && after >= newest {
		return nil, true
	}
	for _, t := range f.told {
		if t.recorded && t.Class == class && t.Sequence > after && len(list) < limit {
			list = append(list, t.Message)
		}
	}
	return list, len(list) > 0 && list[0].Sequence == after+1
}

// Provisional gives the alarms told without the disk that it does not have yet, of
// those with a number above after. Their Sequence is that number: it counts in this
// process alone, and their bodies have none.
func (f *feed) Provisional(after int64) (list []daq.Message) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, p := range f.provisional {
		if p.Sequence > after {
			list = append(list, p.Message)
		}
	}
	return list
}

// Latest gives the newest message of each alarm, recorded or not; false before the
// database could be read.
func (f *feed) Latest() (newest map[string]daq.Message, known bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	newest = make(map[string]daq.Message, len(f.latest))
	for name, p := range f.latest {
		newest[name] = p.Message
	}
	return newest, f.recording != ""
}

// Follow gives hear every event as it is told, those at hand first, in the goroutine
// of the caller, until ctx ends. What is told without the disk comes again once it
// is recorded.
func (f *feed) Follow(ctx context.Context, hear func(daq.Message)) {
	for seen, ended := int64(-1), false; ; {
		wake := f.Wake()
		list, number := f.since(seen)
		for _, t := range list {
			hear(t.Message)
		}
		if seen = number; ended {
			return
		}
		select {
		case <-ctx.Done():
			ended = true
		case <-wake:
		}
	}
}

// since gives what was told after a number, and the number of the last one; below 0
// all that is at hand.
func (f *feed) since(after int64) ([]told, int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	oldest := f.number - int64(len(f.told))
	if after >= 0 && after < oldest {
		f.missed += oldest - after
	}
	return slices.Clone(f.told[max(0, after-oldest):]), f.number
}

// idle says whether nothing waits to be told.
func (f *feed) idle() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.waiting) == 0
}

func (f *feed) newestOf(class daq.Class) int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.newest[class]
}

// FeedDrops counts what the bounds of the feed have cost.
type FeedDrops struct {
	Provisional int64 // alarms told without the disk that found no room; they are recorded later
	Followers   int64 // events that page or log were too slow for
}

// FeedDropped says what the bounds of the feed have cost.
func (f *feed) FeedDropped() FeedDrops {
	f.mu.Lock()
	defer f.mu.Unlock()
	return FeedDrops{f.dropped, f.missed}
}
