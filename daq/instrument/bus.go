package instrument

import (
	"context"
	"errors"
	"log/slog"
	"reflect"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// reopenEvery is how often a missing line is looked for.
const reopenEvery = 250 * time.Millisecond

// bus works one line in one goroutine: polls that are due, writes before them,
// and the line itself, which may come and go.
type bus struct {
	port  config.Port
	open  Opener
	now   func() time.Duration
	clock *clock.Clock // by which it works, and the instruments on it
	out   func(daq.Reading)
	log   *slog.Logger

	writes  chan *write
	changes chan []config.Instrument
	others  atomic.Pointer[[]config.Instrument] // text instruments on other lines
	done    chan struct{}                       // closed when run has ended

	reopen time.Duration // between openings, at least

	startedAt   time.Time
	startedMono time.Duration // of now, when it began
	worker      *clock.Worker
	polls       []*poll
	wire        *wire // nil while there is no line
	lineErr     *fault
	openAt      time.Duration // when to look for the line again
	movedAt     time.Duration // when to look whether the name moved
	unconfirmed int           // writes in a row that failed

	mu      sync.Mutex // guards current
	current Line       // for closing from outside the goroutine
	closing bool
}

// write is something to do on the wire before any poll.
type write struct {
	ctx  context.Context
	do   func(*wire) error
	done chan error // buffered
}

func newBus(port config.Port, instruments []config.Instrument, o Options) *bus {
	return &bus{
		port: port, open: o.Open, now: o.Now, clock: o.Clock, worker: o.Clock.Worker(), out: o.Out, log: o.Log.With("port", port.Name),
		writes: make(chan *write), changes: make(chan []config.Instrument), done: make(chan struct{}),
		polls: plan(instruments), reopen: o.reopen(port.Name),
	}
}

// run takes step after step until ctx ends.
func (b *bus) run(ctx context.Context, step func(context.Context)) {
	defer close(b.done)
	b.startedAt, b.startedMono = time.Now(), b.now()
	defer b.worker.End()
	stop := context.AfterFunc(ctx, b.abort)
	defer stop()
	defer b.abort()
	for ctx.Err() == nil {
		step(ctx)
	}
}

// step does one thing: what waits longest, or a write as soon as there is one,
// before a poll that is due as well.
func (b *bus) step(ctx context.Context) {
	p, at := b.next()
	b.worker.Due(b.startedMono + at)
	if at <= b.since() {
		select {
		case w := <-b.writes:
			b.write(w)
		case list := <-b.changes:
			b.change(list)
		default: // without the detour of a timer: it costs the line its time
			b.serve(p)
		}
		return
	}
	changed := b.clock.Changed()
	timer := time.NewTimer(b.clock.Wait(at - b.since()))
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-changed:
	case w := <-b.writes:
		b.write(w)
	case list := <-b.changes:
		b.change(list)
	case <-timer.C:
	}
}

// since is the time since the bus began: its clock's, which may stand, where
// that is not the machine's.
func (b *bus) since() time.Duration {
	if b.clock.Shared() {
		return b.now() - b.startedMono
	}
	return time.Since(b.startedAt)
}

// next is the poll to serve next, and when; nil for the line itself.
func (b *bus) next() (*poll, time.Duration) {
	if b.wire == nil && b.openAt <= b.since() {
		return nil, b.openAt
	}
	now := b.since()
	var best *poll
	for _, p := range b.polls {
		if best == nil || earlier(p, best, now) {
			best = p
		}
	}
	switch {
	case best == nil:
		return nil, max(b.openAt, now+reopenEvery)
	case b.wire == nil && b.openAt < max(best.due, best.notBefore):
		return nil, b.openAt
	}
	return best, max(best.due, best.notBefore)
}

// earlier says whether a goes before b. Of those that are due the most urgent
// goes first; else the one that is due first.
func earlier(a, b *poll, now time.Duration) bool {
	dueA, dueB := max(a.due, a.notBefore), max(b.due, b.notBefore)
	if dueA <= now && dueB <= now {
		return a.urgency() < b.urgency()
	}
	return dueA < dueB
}

// serve polls; without a poll it looks for the line.
func (b *bus) serve(p *poll) {
	switch {
	case p == nil && b.wire == nil:
		b.find()
	case p == nil: // a line for writes alone
	case b.wire == nil:
		b.reportNoLine(p)
	default:
		b.poll(p)
	}
}

func (b *bus) poll(p *poll) {
	began, started := b.since(), time.Now()
	var results []result
	w := b.wire
	w.unhurried = b.clock.Speed() == 1 && !p.late(began)
	if w.unhurried {
		w.takes = p.sleep()
	}
	slept := w.takes > 0
	err := b.timed(p.again(), func() (err error) { results, err = p.exchange(w); return err })
	w.unhurried, w.takes = false, 0
	if b.ending() {
		return // our own closing is no fault of the instrument
	}
	p.learn(w.lastByteAt.Sub(w.sentAt), slept, err)
	p.reschedule(began, b.since(), err)
	b.throttleDead(p, began)
	end := time.Now()
	if err == nil {
		end = b.wire.lastByteAt // the silence behind the answer is not its time
	}
	took, at := end.Sub(started), b.now()-time.Since(end)
	if b.clock.Speed() != 1 { // which may have stood meanwhile
		took, at = b.since()-began, b.now()
	}
	for i, r := range results {
		r.err = b.swapped(r.err, b.wire.received)
		b.out(reading(&p.members[i], r, took, at))
	}
	b.onFailure(p, err)
}

// brisk is how far a fast clock goes on in an exchange that a busy machine holds up.
const brisk = 20 * time.Millisecond

// timed does an exchange, the first with somebody or again. A fast clock waits for
// the answer as long as is fair, and goes on then to the end of the time-out, and no
// further before the exchange is over. One that becomes fast meanwhile waits for its end.
func (b *bus) timed(again bool, exchange func() error) error {
	if !b.clock.Shared() {
		return exchange()
	}
	w, at, began := b.wire, b.now(), time.Now()
	w.useClock(b.clock)
	b.worker.Until(at + brisk)
	if !w.fast {
		return exchange()
	}
	fair := w.fair(again)
	w.timeout += fair
	unanswered := time.AfterFunc(fair, func() { b.worker.Until(at + b.port.Timeout) })
	defer unanswered.Stop()
	err := exchange()
	w.slowest -= w.slowest / forgotten
	if took := time.Since(began); took < fair { // after that it is late by the clock
		w.slowest = max(w.slowest, took)
	}
	return err
}

// throttleDead keeps dead polls back after a probe of one, for the living ones' sake.
func (b *bus) throttleDead(probed *poll, began time.Duration) {
	living := func(p *poll) bool { return !p.dead() }
	if !probed.dead() || !slices.ContainsFunc(b.polls, living) {
		return
	}
	now := b.since()
	for _, p := range b.polls {
		if p.dead() {
			p.notBefore = max(p.notBefore, now+(probeShare-1)*(now-began))
		}
	}
}

// reportNoLine tells a poll's instruments that there is no line.
func (b *bus) reportNoLine(p *poll) {
	p.due = nextDue(b.since(), min(p.every, time.Second))
	for i := range p.members {
		b.out(reading(&p.members[i], result{err: b.lineErr}, 0, b.now()))
	}
}

// reading is what an exchange gave an instrument, for the engine.
func reading(in *config.Instrument, r result, took, at time.Duration) daq.Reading {
	out := daq.Reading{Instrument: in.ID, Number: r.number, Count: r.count, Took: took, At: at}
	if r.err == nil {
		return out
	}
	out.Number, out.Count = 0, 0
	out.Reason, out.Error = daq.ReasonProtocol, r.err.Error()
	if f, ok := errors.AsType[*fault](r.err); ok {
		out.Reason = f.reason
	}
	return out
}

// onFailure acts on an exchange that failed: a line that is
// gone is closed, and a late answer is given time to come and be dropped.
func (b *bus) onFailure(p *poll, err error) {
	switch f, _ := errors.AsType[*fault](err); {
	case f != nil && f.lost:
		b.lose(f)
	case f != nil && f.joined && len(p.members) > 1:
		b.split(p)
	case silent(err) && !b.loseMoved():
		b.holdBack(p) // of a dead one too: a late answer of its own deceives as well
	}
}

// split asks for the numbers of a poll one by one from now on: one that the
// slave does not have must not take its neighbours with it.
func (b *bus) split(p *poll) {
	at := slices.Index(b.polls, p)
	b.polls = slices.Delete(b.polls, at, at+1)
	for _, in := range p.members {
		single := &poll{members: []config.Instrument{in}, every: p.every, due: b.since()}
		single.prepare()
		b.polls = append(b.polls, single)
	}
}

// holdBack keeps polls back that a late answer could deceive.
func (b *bus) holdBack(p *poll) {
	until := b.since() + b.port.Timeout
	for _, other := range b.polls {
		if p.confusable(other) {
			other.notBefore = max(other.notBefore, until)
		}
	}
}

// loseMoved looks, at most once a second, whether the device's name leads elsewhere
// by now, and gives up the line if it does.
func (b *bus) loseMoved() bool {
	m, ok := b.wire.line.(mover)
	if !ok || b.since() < b.movedAt {
		return false
	}
	b.movedAt = b.since() + time.Second
	moved := m.Moved()
	if moved {
		b.lose(faultf(daq.ReasonPort, "%s: the name now leads to another device; it is opened again", place(b.port)))
	}
	return moved
}

// change takes up another list of instruments; those that stay the same keep
// their due times, in whatever company.
func (b *bus) change(instruments []config.Instrument) {
	fresh := plan(instruments)
	for i, p := range fresh {
		if k := slices.IndexFunc(b.polls, func(old *poll) bool { return reflect.DeepEqual(p.members, old.members) }); k >= 0 {
			fresh[i] = b.polls[k]
			continue
		}
		p.due = nextDue(b.since(), p.every)
		for _, old := range b.polls {
			if old.shares(p) {
				p.due = min(p.due, old.due)
			}
		}
	}
	b.polls = fresh
}
