package clock

import (
	"sync"
	"time"
)

// The clock of a simulated rig stands once work is overdue by mostOverdue of its
// own time: an interval of the simulated rig, far less than any stale_after or
// watchdog, so that a slow machine makes no silence.
// Work that is not done within patience of the machine's time is not waited for
// any longer: it hangs. A machine that stands still itself makes nobody hang: of
// the time between two looks at the clock longestLook counts.
const (
	mostOverdue = 200 * time.Millisecond
	patience    = 3 * time.Second
	longestLook = 250 * time.Millisecond
)

// leastWait is the shortest wait of who works by a fast clock: it may stand.
const leastWait = 200 * time.Microsecond

// pausedLook is how often who waits by a paused clock looks at it again; a change of
// its speed wakes him.
const pausedLook = 250 * time.Millisecond

// fast is a clock that a simulated rig and its daemon share. It runs so many
// times as fast as the machine's, and stands where those who work by it do not
// follow: nothing becomes late that would not be late at speed 1. At speed 1 it is
// the machine's, and waits for nobody.
type fast struct {
	mu      sync.Mutex
	speed   float64 // while it is not paused
	paused  bool
	changed chan struct{} // closed by the next change of speed or pause
	zero    time.Time     // the wall time at which it would have been 0; zero as long as its label is the machine's
	at      time.Duration // at the machine's time read
	read    time.Time     // zero before Start
	stands  bool          // it waits for somebody
	stood   time.Duration // the limit at which it stands
	waited  time.Duration // there, of the machine's
	workers map[*Worker]time.Duration
}

// NewFast makes the clock of a simulated rig, which stands at 0 until Start
// and then runs speed times as fast as the machine's. Its label begins with the
// wall time at Start, runs as fast, and never counts as synchronised. At speed 1 it
// has begun, and its label is the machine's until its speed is changed.
func NewFast(speed float64) *Clock {
	c := New()
	c.fast = &fast{speed: speed, changed: make(chan struct{}), workers: map[*Worker]time.Duration{}}
	if speed == 1 {
		c.fast.read = c.began
	}
	return c
}

// Start sets a fast clock going; any other goes already.
func (c *Clock) Start() {
	if f := c.fast; f != nil {
		f.mu.Lock()
		defer f.mu.Unlock()
		if f.read.IsZero() {
			f.read = time.Now()
			f.zero = f.read.Round(0)
		}
	}
}

// started says whether the clock goes.
func (c *Clock) started() bool {
	if c.fast == nil {
		return true
	}
	c.fast.mu.Lock()
	defer c.fast.mu.Unlock()
	return !c.fast.read.IsZero()
}

// SetPace changes the speed of a shared clock, or lets it stand; its time goes on from
// where it is. Another clock has no other speed.
func (c *Clock) SetPace(speed float64, paused bool) {
	f := c.fast
	if f == nil {
		return
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.speed == speed && f.paused == paused {
		return
	}
	at := f.reach()
	if f.zero.IsZero() && !f.read.IsZero() {
		f.zero = time.Now().Round(0).Add(-at)
	}
	f.speed, f.paused, f.stands = speed, paused, false
	close(f.changed)
	f.changed = make(chan struct{})
}

// Changed is closed by the next change of speed: who waits by the clock begins to
// wait anew. It is nil for a clock whose speed cannot change.
func (c *Clock) Changed() <-chan struct{} {
	if c.fast == nil {
		return nil
	}
	c.fast.mu.Lock()
	defer c.fast.mu.Unlock()
	return c.fast.changed
}

// Shared says whether a simulated rig and its daemon share the clock: its speed can
// change, and it can stand.
func (c *Clock) Shared() bool { return c.fast != nil }

// Speed is how many seconds of the clock are in one of the machine's, while it is not
// paused.
func (c *Clock) Speed() float64 {
	speed, _ := c.Pace()
	return speed
}

// Pace is the speed, and whether the clock is paused.
func (c *Clock) Pace() (speed float64, paused bool) {
	if c.fast == nil {
		return 1, false
	}
	c.fast.mu.Lock()
	defer c.fast.mu.Unlock()
	return c.fast.speed, c.fast.paused
}

// Real is the machine's time for a time of the clock's; a pause is left out.
func (c *Clock) Real(d time.Duration) time.Duration { return time.Duration(float64(d) / c.Speed()) }

// Wait is how long a timer of the machine's waits for a time of the clock's. A
// clock that has stood meanwhile is not there yet: look at Now again.
func (c *Clock) Wait(d time.Duration) time.Duration {
	if c.fast == nil {
		return d
	}
	if _, paused := c.Pace(); paused {
		return pausedLook
	}
	return max(c.Real(d), leastWait)
}

// Of is the clock's time for a time of the machine's; a pause is left out.
func (c *Clock) Of(d time.Duration) time.Duration { return time.Duration(float64(d) * c.Speed()) }

func (f *fast) now() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.reach()
}

// reach brings the clock to now.
func (f *fast) reach() time.Duration {
	if f.read.IsZero() {
		return 0
	}
	now := time.Now()
	passed := now.Sub(f.read)
	f.read = now
	if f.paused {
		return f.at
	}
	next := f.at + time.Duration(float64(passed)*f.speed)
	limit, any := f.limit()
	switch {
	case !any || next < limit || f.speed == 1:
		f.stands = false
	case !f.stands || limit > f.stood:
		f.stands, f.stood, f.waited = true, limit, 0
		next = max(f.at, limit)
	default:
		if f.waited += min(passed, longestLook); f.waited < patience {
			next = max(f.at, limit)
		}
	}
	f.at = next
	return next
}

// wall is the label, and whether it is the clock's own and not the machine's.
func (f *fast) wall() (at time.Time, own bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	since := f.reach()
	if f.zero.IsZero() {
		return time.Now().Round(0).UTC(), f.speed != 1
	}
	return f.zero.Add(since).UTC(), true
}

// limit is how far the clock may go, where anybody works by it.
func (f *fast) limit() (at time.Duration, any bool) {
	for _, until := range f.workers {
		if !any || until < at {
			at, any = until, true
		}
	}
	return at, any
}

// Worker is somebody whom a fast clock waits for.
type Worker struct{ f *fast }

// Worker begins to work by the clock; only a fast one waits for it.
func (c *Clock) Worker() *Worker { return &Worker{c.fast} }

// Due says when the worker has something to do next, before it waits for that or
// does it.
func (w *Worker) Due(at time.Duration) { w.Until(at + mostOverdue) }

// Until says how far the clock may go before the worker has done what it has to.
func (w *Worker) Until(at time.Duration) {
	w.change(func(limits map[*Worker]time.Duration) { limits[w] = at })
}

// Hold is Until for the first of several things that wait to be done: before End
// it moves nothing on.
func (w *Worker) Hold(at time.Duration) {
	w.change(func(limits map[*Worker]time.Duration) {
		if _, held := limits[w]; !held {
			limits[w] = at
		}
	})
}

// End is for a worker that is not waited for any more.
func (w *Worker) End() {
	w.change(func(limits map[*Worker]time.Duration) { delete(limits, w) })
}

func (w *Worker) change(do func(limits map[*Worker]time.Duration)) {
	if w.f != nil {
		w.f.mu.Lock()
		defer w.f.mu.Unlock()
		do(w.f.workers)
	}
}
