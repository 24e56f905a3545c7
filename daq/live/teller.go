package live

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/daq"
)

// tellWithin is how long the journal may take before an event is told without
// it.
const tellWithin = time.Second

// tellLimit bounds the events that wait to be told. More than this many in a
// second means that the disk and this goroutine have both stopped.
const tellLimit = 10000

// Teller holds every event back until the journal has it on disk, for one
// second at most, and then tells the sinks, in order. An event told without the
// disk is told again, with its sequence, when the disk answers.
type Teller struct {
	recording func() string
	sinks     []func(daq.Told) // none of them may block

	mu      sync.Mutex
	waiting []*untold
	late    []*untold
	wake    chan struct{}
	dropped atomic.Int64
}

// untold is the events of one step on their way through the journal.
type untold struct {
	events   []daq.Event
	answer   func() // gives the command's reply; never nil
	deadline time.Time
	receipts []daq.Receipt // nil until the journal has answered
}

// NewTeller makes a teller; recording gives the UUID of the database, "" while
// there is none. A sink must take the event and return at once.
func NewTeller(recording func() string, sinks ...func(daq.Told)) *Teller {
	return &Teller{recording: recording, sinks: sinks, wake: make(chan struct{}, 1)}
}

// Dropped counts the events that found the queue full.
func (t *Teller) Dropped() int64 { return t.dropped.Load() }

// Hold takes the events of one step, with what answers its command, and gives the
// function by which the journal says that they are on disk.
func (t *Teller) Hold(events []daq.Event, answer func()) func([]daq.Receipt) {
	u := &untold{events: events, answer: answer, deadline: time.Now().Add(tellWithin)}
	t.mu.Lock()
	full := len(t.waiting) >= tellLimit
	if !full {
		t.waiting = append(t.waiting, u)
	}
	t.mu.Unlock()
	if full {
		t.dropped.Add(int64(len(events)))
	}
	t.nudge()
	return func(r []daq.Receipt) { t.answer(u, r) }
}

func (t *Teller) answer(u *untold, r []daq.Receipt) {
	t.mu.Lock()
	u.receipts = append([]daq.Receipt{}, r...)
	t.mu.Unlock()
	t.nudge()
}

func (t *Teller) nudge() {
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// Run tells until the context ends and nothing waits any more, which is a
// second later at most.
func (t *Teller) Run(ctx context.Context) error {
	timer := time.NewTimer(tellWithin)
	defer timer.Stop()
	end := ctx.Done()
	for {
		timer.Reset(t.tellReady(time.Now()))
		if end == nil && t.idle() {
			return nil
		}
		select {
		case <-end:
			end = nil
		case <-t.wake:
		case <-timer.C:
		}
	}
}

func (t *Teller) idle() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.waiting) == 0
}

// tellReady tells what may be told now and gives the time until the next
// deadline.
func (t *Teller) tellReady(now time.Time) time.Duration {
	for {
		u, receipts, next := t.take(now)
		if u == nil {
			return next
		}
		for i, e := range u.events {
			told := daq.Told{Event: e, Recording: t.recording()}
			if i < len(receipts) {
				told.Receipt = receipts[i]
			}
			t.tell(told)
		}
		u.answer()
	}
}

func (t *Teller) tell(e daq.Told) {
	for _, sink := range t.sinks {
		sink(e)
	}
}

// take removes the next events to tell: late answers first, then the head of
// the queue once the journal has answered or its second is over.
func (t *Teller) take(now time.Time) (*untold, []daq.Receipt, time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i, u := range t.late {
		if u.receipts != nil {
			t.late = append(t.late[:i:i], t.late[i+1:]...)
			return &untold{events: u.events, answer: func() {}}, u.receipts, 0
		}
	}
	if len(t.waiting) == 0 {
		return nil, nil, tellWithin
	}
	u := t.waiting[0]
	if u.receipts == nil && now.Before(u.deadline) {
		return nil, nil, u.deadline.Sub(now)
	}
	t.waiting = t.waiting[1:]
	if u.receipts == nil {
		t.late = append(t.late, u)
	}
	return u, u.receipts, 0
}
