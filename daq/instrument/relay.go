package instrument

import (
	"context"
	"fmt"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// dropWithin bounds the last write, when the program ends.
const dropWithin = time.Second

// dropAgain is the pause before a drop that was not confirmed is tried again.
const dropAgain = 50 * time.Millisecond

// RelayOptions are the surroundings of a permit output.
type RelayOptions struct {
	Trip   config.Trip
	Now    func() time.Duration
	Write  func(ctx context.Context, on bool) error // waits for the relay's confirmation
	Answer func(daq.Output)                         // must not block
}

// Relay is the heating permit's output. Every write to it is caused by a fresh
// step of the engine: without steps nothing is refreshed, and the relay's own
// watchdog drops it.
type Relay struct {
	o      RelayOptions
	demand chan want // holds the newest alone

	last    want          // what was written last
	lastAt  time.Duration // and when, monotonic
	written bool          // anything was written yet
}

// want is what a step of the engine asks for.
type want struct {
	on    bool
	until time.Duration // monotonic; after it the step is too old to give the permit
}

// NewRelay makes the output; it writes nothing before Run.
func NewRelay(o RelayOptions) *Relay { return &Relay{o: o, demand: make(chan want, 1)} }

// Demand takes what the engine's newest step asks for, and until when that may
// give the permit. It never blocks. Only the engine's goroutine calls it.
func (r *Relay) Demand(on bool, until time.Duration) {
	for {
		select {
		case r.demand <- want{on, until}:
			return
		default:
		}
		select {
		case <-r.demand:
		default:
		}
	}
}

// Run writes until ctx ends, and then drops the permit.
func (r *Relay) Run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return r.drop()
		case w := <-r.demand:
			if r.due(w) {
				r.write(ctx, w)
			}
		}
	}
}

// due says whether a demand is written: a change at once, the same again after
// the refresh time, an old one never, except to drop.
func (r *Relay) due(w want) bool {
	now := r.o.Now()
	if w.on && now > w.until {
		return false
	}
	return !r.written || w.on != r.last.on || now-r.lastAt >= r.o.Trip.Refresh
}

// write sets the relay. A write that does not get its turn on the line before
// the step is too old is given up.
func (r *Relay) write(ctx context.Context, w want) {
	limit := r.o.Trip.Refresh
	if w.on {
		limit = min(limit, w.until-r.o.Now())
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	begun := r.o.Now()
	err := r.o.Write(ctx, w.on)
	// A drop that was not confirmed is tried again with the next step.
	r.written, r.last, r.lastAt = err == nil || w.on, w, begun
	answer := daq.Output{On: w.on}
	if err != nil {
		answer.Error = err.Error()
	}
	r.o.Answer(answer)
}

// drop tries until the relay confirms or the time is over.
func (r *Relay) drop() error {
	ctx, cancel := context.WithTimeout(context.Background(), dropWithin)
	defer cancel()
	for {
		err := r.o.Write(ctx, false)
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the drop at the end was not confirmed; the relay's own watchdog drops it: %w", err)
		case <-time.After(dropAgain):
		}
	}
}
