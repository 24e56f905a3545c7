package daq

import (
	"context"
	"fmt"
	"time"

	"flowrigd/calc/quantity"
)

// Batch is what one step gives the journal.
type Batch struct {
	Input  Input
	State  *State // the row to record; nil between rows
	Events []Event
	Reply  *Reply // to the command of the step; nil where that had none
	Digest string // of all states up to Input, once a minute; "" else

	Checkpoint []byte // from which a replay can go on behind Input, once an hour; nil else
}

// Checkpoint says of one that is recorded where a replay goes on from it.
type Checkpoint struct {
	Number        uint64    // of the last input before it
	Time          time.Time // of that input
	Configuration string    // SHA-256 of that under which the engine ran
}

// Journal takes batches and never blocks. When a step's events are on disk, or a
// second later without it, it tells them and gives the command its reply.
type Journal interface{ Put(Batch) }

// Feed is the recording as a queue of messages, each class with its own sequence, and
// what is told without it, as publisher and notifier read it. Only Pending and Marked
// may wait for the disk.
type Feed interface {
	// Pending gives up to limit messages with a sequence above after, in order.
	Pending(ctx context.Context, class Class, after int64, limit int) ([]Message, error)
	// Provisional gives the alarms told without the disk that it does not have yet,
	// with a number above after in place of the sequence.
	Provisional(after int64) []Message
	// Mark keeps that everything up to sequence has arrived at the destination.
	Mark(destination string, class Class, sequence int64)
	// Marked gives the mark; 0 when there is none.
	Marked(destination string, class Class) (int64, error)
	// Wake gives a channel that becomes ready when there is something new.
	Wake() <-chan struct{}
}

// Run is one life of the daemon as the journal has it, from its start input on.
type Run struct {
	Number        int64
	Began         time.Time
	Configuration string // SHA-256 of the first one
	Build         string // the program that made it; "" where the recording does not say
	Inputs        int64  // the newest input's number
	First         int64  // the oldest input that is still there; > 1 after a purge, 0 with none left
}

// LostInputs is the error for inputs that are recorded and cannot be read; those behind
// them can.
type LostInputs struct {
	First, Last uint64
	From, To    string // wall clock, as recorded
	Why         error
}

// Error names them by number and time.
func (l *LostInputs) Error() string {
	return fmt.Sprintf("inputs %d to %d, from %s to %s, cannot be read: %v", l.First, l.Last, l.From, l.To, l.Why)
}

// Row is a recorded row, to hold a computation against.
type Row struct {
	Time   time.Time
	Values quantity.Set
}

// Bucket is a stretch of a trend, in the quantity's unit. Count 0 means that nothing
// was recorded or known in it, and then the numbers mean nothing.
type Bucket struct {
	Time           time.Time // where it begins
	Min, Mean, Max float64
	Count          int
}
