// Package live owns what makes an engine live: the loop that numbers what comes in
// and lets the engine step, and hands every step to the permit's relay and to the
// recording, from which everybody else is told.
//
//	Offer, Do, Reload → inputs → Engine.Step → OnPermit → Journal
//
// A replay lets the engine step through recorded inputs instead.
// It judges nothing of the rig: the engine does.
package live

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/clock"
	"flowrigd/daq/engine"
)

// inputQueue bounds the inputs that wait for the engine: some ten seconds of a
// busy rig. When it is full the newest reading is dropped and counted, for the
// engine is then hung and no reading helps.
const inputQueue = 1024

// checkpointEvery is how often the journal gets a checkpoint; monotonic.
const checkpointEvery = time.Hour

// LoopOptions are the surroundings of a loop.
type LoopOptions struct {
	Engine  *engine.Engine
	Clock   *clock.Clock
	Journal daq.Journal
	OnState func(*daq.State) // hears the state of every interval; must not block
	// OnReading hears of every reading with the engine's verdict as its Reason; it
	// must not block.
	OnReading func(daq.Reading)
	// OnPermit hears after every step what the permit output shall be, and until
	// when that may give the permit: two intervals after the step, monotonic; it
	// must not block. The journal comes after it.
	OnPermit func(on bool, until time.Duration)
}

// Loop drives the engine: it numbers the inputs, keeps the ticks due at
// start + n·interval, hands every step to the journal and keeps the last state.
type Loop struct {
	o       LoopOptions
	in      chan daq.Input
	digest  *engine.Digest
	kept    time.Duration // when the next checkpoint is due; monotonic
	number  uint64
	last    atomic.Pointer[daq.State]
	stepped atomic.Int64 // monotonic nanoseconds of the last step
	dropped atomic.Int64
	limit   atomic.Int64 // nanoseconds without a step that mean a hung engine

	mu      sync.Mutex
	running heartbeat // of the program
}

// NewLoop makes a loop; it does nothing before Run.
func NewLoop(o LoopOptions) *Loop {
	l := &Loop{o: o, digest: engine.NewDigest(), kept: checkpointEvery, in: make(chan daq.Input, inputQueue)}
	l.setLimit()
	l.last.Store(&daq.State{Time: o.Clock.Wall()})
	return l
}

// setLimit gives a hung engine five intervals, and two seconds at least.
func (l *Loop) setLimit() {
	l.limit.Store(int64(max(2*time.Second, 5*l.o.Engine.Interval())))
}

// Last is the state of the last step. It must not be changed.
func (l *Loop) Last() *daq.State { return l.last.Load() }

// Dropped counts the inputs that found the queue full.
func (l *Loop) Dropped() int64 { return l.dropped.Load() }

// Offer gives the engine a reading. It never blocks.
func (l *Loop) Offer(r daq.Reading) { l.offer(daq.Input{Kind: daq.KindReading, Reading: r}) }

// Output tells the engine what the permit relay answered. It never blocks.
func (l *Loop) Output(o daq.Output) { l.offer(daq.Input{Kind: daq.KindOutput, Output: &o}) }

// Note journals something that came from outside the engine, such as a command
// that was refused at the door. It never blocks.
func (l *Loop) Note(kind, who, text string) {
	l.offer(daq.Input{Kind: daq.KindNote, Note: &daq.Note{Kind: kind, Who: who, Text: text}})
}

// reloadWait is how long the engine may take to have room for a configuration.
const reloadWait = 2 * time.Second

// Reload gives the engine a new checked configuration. Everything offered
// before is still judged by the old one. It waits where the queue is full.
func (l *Loop) Reload(cfg *config.Config) error {
	full := time.NewTimer(reloadWait)
	defer full.Stop()
	select {
	case l.in <- daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: cfg.SHA256, Config: cfg}}:
		return nil
	case <-full.C:
		return fmt.Errorf("engine: it took up nothing for %v: try again, and restart the daemon where that does not help", reloadWait)
	}
}

func (l *Loop) offer(in daq.Input) bool {
	select {
	case l.in <- in:
		return true
	default:
		l.dropped.Add(1)
		return false
	}
}

// Alive is nil while the engine steps.
func (l *Loop) Alive() error {
	silent := l.o.Clock.Now() - time.Duration(l.stepped.Load())
	if silent <= time.Duration(l.limit.Load()) {
		return nil
	}
	return fmt.Errorf("engine: no step for %.1f s; the values shown are old: restart the daemon and keep its log", silent.Seconds())
}

// Run steps the engine until the context ends.
func (l *Loop) Run(ctx context.Context) error {
	l.step(l.o.Engine.Begin())
	due := l.o.Clock.Now()
	l.begin(due)
	timer, changed := time.NewTimer(0), l.o.Clock.Changed()
	defer timer.Stop()
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	worker := l.o.Clock.Worker()
	defer worker.End()
	for {
		worker.Due(due)
		select {
		case <-ctx.Done():
			l.drain()
			return nil
		case in := <-l.in:
			l.step(in)
		case <-timer.C:
			if due <= l.o.Clock.Now() {
				l.step(daq.Input{Kind: daq.KindTick})
				due = engine.NextDue(due, l.o.Clock.Now(), l.o.Engine.Interval())
			}
			changed = l.o.Clock.Changed()
			timer.Reset(l.o.Clock.Wait(due - l.o.Clock.Now()))
		case <-changed: // it runs at another speed
			changed = nil
			timer.Reset(0)
		case <-beat.C:
			l.beat()
		}
	}
}

// drain steps what is already in the queue, so that closing flows as data does.
func (l *Loop) drain() {
	for {
		select {
		case in := <-l.in:
			l.step(in)
		default:
			return
		}
	}
}

func (l *Loop) step(in daq.Input) {
	l.number++
	in.Number = l.number
	if c := in.Command; c != nil && c.Caller != nil {
		c.Left = c.Caller.Err() != nil
	}
	in.Mono = l.o.Clock.Now()
	in.Wall, in.Synchronised = l.o.Clock.Label()
	in = in.Truncate()
	hang(in.Kind)
	state, events := l.o.Engine.Step(in)
	l.stepped.Store(int64(in.Mono))
	if l.o.OnPermit != nil {
		l.o.OnPermit(state.Permit, in.Mono+2*l.o.Engine.Interval())
	}
	l.last.Store(&state)
	if in.Kind == daq.KindReload {
		l.setLimit()
	}
	b := daq.Batch{Input: in, Events: events, Reply: l.o.Engine.Reply(), Digest: l.digest.Add(&state)}
	if state.Sample {
		b.State = &state
	}
	if state.Tick && in.Mono >= l.kept {
		l.kept = engine.NextDue(l.kept, in.Mono, checkpointEvery)
		l.keep(&b)
	}
	l.o.Journal.Put(b)
	if state.Tick && l.o.OnState != nil {
		l.o.OnState(&state)
	}
	if in.Kind == daq.KindReading && l.o.OnReading != nil {
		in.Reading.Reason = state.Fault
		l.o.OnReading(in.Reading)
	}
}

// keep adds a checkpoint to a step. Without one a replay begins at an earlier one.
func (l *Loop) keep(b *daq.Batch) {
	var err error
	if b.Checkpoint, err = l.o.Engine.Checkpoint(l.digest); err != nil {
		b.Events = append(b.Events, daq.Event{Note: &daq.Note{Kind: "checkpoint", Time: b.Input.Wall, Text: "not made: " + err.Error()}})
	}
}

// Do asks the engine for something and waits for its answer, which comes when
// what was done is on disk (or after a second without it). A refusal is an
// error with the reason. What the engine has not done within CommandLife it never
// does.
func (l *Loop) Do(ctx context.Context, c daq.Command) error {
	_, err := l.Ask(ctx, c)
	return err
}

// Ask does what Do does, and gives the message of what was made; nil where nothing was.
func (l *Loop) Ask(ctx context.Context, c daq.Command) (made []byte, err error) {
	c.Until = l.asked() + l.o.Clock.Of(engine.CommandLife-c.Waited)
	answer := make(chan daq.Reply, 1)
	c.Caller, c.Answer = ctx, answer
	in := daq.Input{Kind: daq.KindCommand, Command: &c}
	select {
	case l.in <- in:
	case <-ctx.Done():
		if errors.Is(ctx.Err(), context.Canceled) { // who asked has gone: the engine refuses it, and that is journalled
			select {
			case l.in <- in:
			case <-time.After(engine.CommandLife):
			}
		}
		return nil, fmt.Errorf("%s: the engine takes no command: %w", strings.TrimSpace(fmt.Sprint(c.Verb(), " ", c.Alarm())), ctx.Err())
	}
	select {
	case r := <-answer:
		switch {
		case r.Error != "" && r.Wrong:
			return nil, daq.Wrong{Err: errors.New(r.Error)}
		case r.Error != "":
			return nil, errors.New(r.Error)
		}
		return r.Made, nil
	case <-ctx.Done():
		return nil, fmt.Errorf("%s: no answer from the engine: %w", strings.TrimSpace(fmt.Sprint(c.Verb(), " ", c.Alarm())), ctx.Err())
	}
}
