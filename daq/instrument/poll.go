package instrument

import (
	"context"
	"reflect"
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// deadAfter is how many silent exchanges in a row make an instrument dead. A
// dead one is probed each probeEvery, and lets living ones go first for up to
// probePatience. Where some live on the line, all dead ones together get one
// part in probeShare of its time.
const (
	deadAfter     = 3
	probeEvery    = 700 * time.Millisecond
	probePatience = 200 * time.Millisecond
	probeShare    = 4
)

// poll is one request and the instruments whose numbers stand in its answer.
type poll struct {
	members []config.Instrument
	request []byte // Modbus; nil for a text question
	start   uint16 // first register
	every   time.Duration

	due        time.Duration // since the bus began
	notBefore  time.Duration // not before: a late answer may still come
	unanswered int           // exchanges in a row without an answer
	failed     bool          // the last exchange
	behind     bool          // the last exchange ended after the next was due

	takes   time.Duration // from the request to the last byte of the answer, at the least of late
	watched int           // exchanges, in turns of watchEach
}

// watchEach is in how many exchanges one is read byte by byte as it comes, to learn how
// long an answer takes; takesGrow is the part by which what was learned may grow then.
const (
	watchEach = 16
	takesGrow = 8
)

// late says whether the poll has waited for its turn on the line so long, this time or
// the last, that the line must not lose any time.
func (p *poll) late(now time.Duration) bool { return p.behind || now-p.due > p.every/4 }

// sleep is how long to sleep for the next answer; 0: read it as it comes.
func (p *poll) sleep() time.Duration {
	p.watched = (p.watched + 1) % watchEach
	if p.watched == 1 {
		return 0
	}
	return p.takes
}

// learn takes down how long an answer took that was read as it came.
func (p *poll) learn(took time.Duration, slept bool, err error) {
	switch {
	case err != nil || slept: // a sleeper wakes up late: from that nothing is learned
	case p.takes == 0:
		p.takes = took
	default:
		p.takes = min(p.takes+p.takes/takesGrow, took)
	}
}

// result is what an exchange gave one instrument.
type result struct {
	number float64
	count  uint64
	err    error
}

func plan(instruments []config.Instrument) []*poll {
	var polls []*poll
	for _, members := range config.Polls(instruments) {
		p := &poll{members: members, every: members[0].Every}
		p.prepare()
		polls = append(polls, p)
	}
	return polls
}

func (p *poll) prepare() {
	first, last := p.members[0].Modbus, p.members[len(p.members)-1].Modbus
	if first == nil {
		return
	}
	p.start = first.Register
	count := int(last.Register) + last.Width() - int(p.start)
	p.request = modbus.ReadRequest(first.Address, function[first.Table], p.start, uint16(count))
}

// exchange talks over the wire; one result for each member. The error is that
// of the whole exchange.
func (p *poll) exchange(w *wire) ([]result, error) {
	results := make([]result, len(p.members))
	if p.request == nil {
		number, err := w.ask(&p.members[0])
		results[0] = result{number, whole(number), err}
		return results, err
	}
	data, err := w.exchange(context.Background(), p.request)
	for i := range p.members {
		r := &results[i]
		if r.err = err; err == nil {
			r.number, r.count, r.err = decode(p.members[i].Modbus, data, p.start)
		}
	}
	return results, err
}

// dead says whether the instrument has been silent too often.
func (p *poll) dead() bool { return p.unanswered >= deadAfter }

// again says whether the last answer was no good, of one that is not dead.
func (p *poll) again() bool { return p.failed && !p.dead() }

// reschedule sets when the poll is due next, after an exchange that began at began
// and ended at now (both since the bus began). Due times stay on the grid
// n·every, so that they do not drift; of those that have passed only the last is
// made up for.
func (p *poll) reschedule(began, now time.Duration, err error) {
	p.failed = err != nil
	if silent(err) {
		p.unanswered++
	} else {
		p.unanswered = 0
	}
	if p.dead() {
		p.due = max(now, began+probeEvery)
		return
	}
	p.behind = now > p.due+p.every
	p.due = onGrid(max(p.due+p.every, now), p.every)
}

// onGrid is the last n·every that is not later than t.
func onGrid(t, every time.Duration) time.Duration { return t / every * every }

// nextDue is the first n·every later than t.
func nextDue(t, every time.Duration) time.Duration { return onGrid(t, every) + every }

// silent says whether nobody answered.
func silent(err error) bool { return failedFor(err, daq.ReasonTimeout) }

// urgency orders polls that are due: the longest due first, dead ones with
// patience.
func (p *poll) urgency() time.Duration {
	at := max(p.due, p.notBefore)
	if p.dead() {
		at += probePatience
	}
	return at
}

// shares says whether two polls have an unchanged instrument in common.
func (p *poll) shares(other *poll) bool {
	return slices.ContainsFunc(p.members, func(a config.Instrument) bool {
		return slices.ContainsFunc(other.members, func(b config.Instrument) bool { return reflect.DeepEqual(a, b) })
	})
}

// confusable says whether a late answer to one poll could be taken for an
// answer to the other.
func (p *poll) confusable(other *poll) bool {
	if p.request == nil || other.request == nil {
		return p.request == nil && other.request == nil && p.members[0].Query.Reply.Overlaps(other.members[0].Query.Reply)
	}
	return p.request[0] == other.request[0]
}
