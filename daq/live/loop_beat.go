package live

import (
	"time"

	"flowrigd/daq/engine"
)

// The loop looks every beatEvery whether the program runs; a pause longer than
// stoodStill is a standstill: the process was suspended, or the machine asleep.
const (
	beatEvery  = 250 * time.Millisecond
	stoodStill = time.Second
)

// heartbeat is when the program ran, and when it stood still last; monotonic.
type heartbeat struct {
	last    time.Duration // when it was seen to run
	stopped time.Duration // when it was seen last before it stood still
	woke    time.Duration // when it went on; 0: it never stood still
	still   time.Duration // what was a standstill then: the clock may have been faster since
}

// begin counts from here: what was before is no standstill.
func (l *Loop) begin(now time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.running.last = now
}

func (l *Loop) beat() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.running.see(l.o.Clock.Now(), l.o.Clock.Of(stoodStill))
}

func (p *heartbeat) see(now, still time.Duration) {
	if now-p.last > max(still, p.still) {
		p.stopped, p.woke = p.last, now
	}
	p.last, p.still = now, still
}

// asked is the earliest time at which a command that arrives now may have been made.
// What people asked for while the program stood still has waited in the machine, and
// arrives when it goes on: it may be as old as the standstill.
func (l *Loop) asked() time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.o.Clock.Now()
	l.running.see(now, l.o.Clock.Of(stoodStill))
	if p := &l.running; p.woke > 0 && now-p.woke < l.o.Clock.Of(engine.CommandLife) {
		return p.stopped
	}
	return now
}
