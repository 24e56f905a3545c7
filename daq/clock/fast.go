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

// fast is a clock that a simulated rig and its daemon share. It runs so many
// times as fast as the machine's, and stands where those who work by it do not
// follow: nothing becomes late that would not be late at speed 1.
type fast struct {
	speed float64

	mu      sync.Mutex
	at      time.Duration // at the machine's time read
	read    time.Time     // zero before Start
	stands  bool          // it waits for somebody
	stood   time.Duration // the limit at which it stands
	waited  time.Duration // there, of the machine's
	workers map[*Worker]time.Duration
}

// NewFast makes the clock of a simulated rig, which stands at 0 until Start
// and then runs speed times as fast as the machine's. Its label begins with the
// wall time at Start, runs as fast, and never counts as synchronised.
func NewFast(speed float64) *Clock {
	c := New()
	c.fast = &fast{speed: speed, workers: map[*Worker]time.Duration{}}
	return c
}

// Start sets a fast clock going; any other goes already.
func (c *Clock) Start() {
	if f := c.fast; f != nil {
		f.mu.Lock()
		defer f.mu.Unlock()
		c.began = time.Now()
		f.read = c.began
	}
}

// Speed is how many seconds of the clock are in one of the machine's.
func (c *Clock) Speed() float64 {
	if c.fast == nil {
		return 1
	}
	return c.fast.speed
}

// Real is the machine's time for a time of the clock's.
func (c *Clock) Real(d time.Duration) time.Duration {
	if c.fast == nil {
		return d
	}
	return time.Duration(float64(d) / c.fast.speed)
}

// Wait is how long a timer of the machine's waits for a time of the clock's. A
// clock that has stood meanwhile is not there yet: look at Now again.
func (c *Clock) Wait(d time.Duration) time.Duration {
	if c.fast == nil {
		return d
	}
	return max(c.Real(d), leastWait)
}

// Of is the clock's time for a time of the machine's.
func (c *Clock) Of(d time.Duration) time.Duration {
	if c.fast == nil {
		return d
	}
	return time.Duration(float64(d) * c.fast.speed)
}

func (f *fast) now() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.read.IsZero() {
		return 0
	}
	now := time.Now()
	passed := now.Sub(f.read)
	next := f.at + time.Duration(float64(passed)*f.speed)
	f.read = now
	limit, any := f.limit()
	switch {
	case !any || next < limit:
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

func (f *fast) wall(c *Clock) time.Time {
	at := f.now()
	f.mu.Lock()
	defer f.mu.Unlock()
	return c.began.Round(0).Add(at).UTC()
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
