package instrument

import (
	"context"
	"errors"
	"fmt"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// dropWithin bounds the last write, when the program ends.
const dropWithin = time.Second

// A drop that was not confirmed is tried again after dropSoon, quickDrops times;
// by then the relay's own watchdog is near, and the refresh time is enough.
const (
	dropSoon   = 200 * time.Millisecond
	quickDrops = 10
)

// dropAgain is the pause before a drop that was not confirmed is tried again.
const dropAgain = 50 * time.Millisecond

// leastWrite is what a write to the relay of a fast simulated rig gets, of the
// machine's time: an exchange before it and its own, however slow.
const leastWrite = 2 * slowTimeout

// RelayOptions are the surroundings of a permit output.
type RelayOptions struct {
	Trip   config.Trip
	Now    func() time.Duration
	Clock  *clock.Clock                             // of Now, where a simulated rig's is faster than the machine's; nil: the machine's
	Write  func(ctx context.Context, on bool) error // waits for the relay's confirmation
	Answer func(daq.Output)                         // must not block
}

// Relay is the heating permit's output. Every write to it is caused by a fresh
// step of the engine: without steps nothing is refreshed, and the relay's own
// watchdog drops it.
type Relay struct {
	o      RelayOptions
	demand chan want // holds the newest alone
	worker *clock.Worker

	last   want          // what was written last
	lastAt time.Duration // and when, monotonic
	begun  bool          // anything was written yet
	failed int           // writes of a drop in a row that were not confirmed
}

// want is what a step of the engine asks for.
type want struct {
	on    bool
	until time.Duration // monotonic; after it the step is too old to give the permit
}

// NewRelay makes the output; it writes nothing before Run.
func NewRelay(o RelayOptions) *Relay {
	if o.Clock == nil {
		o.Clock = clock.New()
	}
	return &Relay{o: o, worker: o.Clock.Worker(), demand: make(chan want, 1)}
}

// Demand takes what the engine's newest step asks for, and until when that may
// give the permit. It never blocks. Only the engine's goroutine calls it. A fast
// clock does not pass the first of the demands that wait, however many follow it.
func (r *Relay) Demand(on bool, until time.Duration) {
	r.worker.Hold(until)
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
	defer r.worker.End()
	for {
		select {
		case <-ctx.Done():
			return r.drop()
		case w := <-r.demand:
			if r.due(w) {
				r.write(ctx, w)
			}
			if len(r.demand) == 0 {
				r.worker.End()
			}
		}
	}
}

// due says whether a demand is written: a change at once, the same again after
// nine tenths of the refresh time (a step that comes a little early must not
// double it), an old one never, except to drop.
func (r *Relay) due(w want) bool {
	now := r.o.Now()
	if w.on && now > w.until {
		return false
	}
	return !r.begun || w.on != r.last.on || now-r.lastAt >= r.pause()
}

// pause is the time to the next write of the same. The answer to a write is a
// step of the engine and so a demand: without a pause a relay whose line is
// missing would be written to without end.
func (r *Relay) pause() time.Duration {
	refresh := r.o.Trip.Refresh - r.o.Trip.Refresh/10
	if r.failed > 0 && r.failed <= quickDrops {
		return min(dropSoon, refresh)
	}
	return refresh
}

// write sets the relay. A write that does not get its turn on the line before
// the step is too old is given up.
func (r *Relay) write(ctx context.Context, w want) {
	limit := r.o.Trip.Refresh
	if w.on {
		limit = min(limit, w.until-r.o.Now())
	}
	if r.o.Clock.Speed() != 1 {
		limit = max(r.o.Clock.Real(limit), leastWrite) // the clock stands meanwhile
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	begun := r.o.Now()
	err := r.o.Write(ctx, w.on)
	r.begun, r.last, r.lastAt = true, w, begun
	r.failed++
	if err == nil || w.on {
		r.failed = 0
	}
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

// pulseWidth is long enough for an adapter that passes control lines on every
// few milliseconds, and for an optocoupler (common practice, no source).
const pulseWidth = 20 * time.Millisecond

// controls is a Line with control lines.
type controls interface {
	SetControl(line config.Pulse, on bool) error
}

// reopen is how long a line waits between two openings. Each raises RTS and DTR:
// where one of them is the permit's, openings must not make the train of pulses
// that holds its relay.
func (o *Options) reopen(port string) time.Duration {
	if t := o.Trip; t != nil && t.Pulse != config.NoPulse && t.Port == port {
		return max(reopenEvery, 2*t.Watchdog)
	}
	return reopenEvery
}

var errNoControls = errors.New("this line has no control lines; give the permit relay a serial port that has them, or a coil")

// pulse raises a control line and lets it fall: each refresh of the permit is
// one pulse, and a level that stays, high or low, is none. Off lets it rest low.
func (w *wire) pulse(ctx context.Context, line config.Pulse, on bool) error {
	c, ok := w.line.(controls)
	if !ok {
		return errNoControls
	}
	if on {
		if err := c.SetControl(line, true); err != nil {
			return lineFault(w.port, err)
		}
		wait(ctx, pulseWidth)
	}
	if err := c.SetControl(line, false); err != nil {
		return lineFault(w.port, err)
	}
	return nil
}

func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
