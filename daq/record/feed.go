package record

import (
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

// made puts what a command made into its reply: one of the events of its step.
func (w *waiting) made(event int, m daq.Message) {
	if w != nil && event == w.reply.Event {
		w.reply.Made = m.Body
	}
}

// giveReply answers the command, once.
func (w *waiting) giveReply() {
	if w != nil && w.answer != nil {
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
		for k, e := range w.events {
			m := e.Message("", 0)
			w.made(k, m)
			f.tellProvisional(w.step, m)
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
		w, step := entries[i].waits, f.steps+1 // of what the queue itself has to say
		if w != nil {
			step = w.step
			f.waiting = slices.DeleteFunc(f.waiting, func(o *waiting) bool { return o == w })
		}
		for k, e := range entries[i].Events {
			m := e.Message(f.recording, sequences[i][k])
			w.made(k, m)
			f.tellRecorded(step, m)
		}
		w.giveReply()
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
