// Package clock owns time: monotonic since a run began, the wall time as a label
// with a flag whether it can be relied upon, and the clock that a simulated rig and
// its daemon share, which runs faster.
//
//	Now → what delays, rates and schedules count by; Label → what people read
//
// Those who wait ask it how long, and wait by timers of their own.
package clock

import (
	"sync/atomic"
	"time"
)

// jumpLimit is the step of the wall clock against the monotonic one that is
// taken for a jump; jumpMemory is how long the label stays doubtful after it.
const (
	jumpLimit  = 500 * time.Millisecond
	jumpMemory = 10 * time.Minute
)

// askEvery is how often the system is asked whether its clock is synchronised: each
// label would cost a call of the kernel, and what steers a clock gives up in minutes.
const askEvery = time.Second

// Clock gives monotonic time since a run began, and the wall time as a label
// with a flag whether it can be relied upon.
type Clock struct {
	began  time.Time // with its monotonic reading
	offset time.Duration
	jumped time.Duration // monotonic time of the last jump; < 0: none
	synced func() bool
	asked  time.Duration // monotonic time at which synced was asked last; < 0: never
	sure   bool          // what it said

	asleep func() time.Duration // how long the machine has slept since it was started
	before time.Duration        // of that before the run
	slept  atomic.Int64         // ns of it since, as counted so far

	fast *fast // nil: the machine's own
}

// New starts a run's clock. The system's own word on synchronisation is
// asked where there is one (adjtimex on Linux); elsewhere it counts as not known.
func New() *Clock { return NewOf(asleep) }

// NewOf starts the clock of a machine whose sleep so far asleep tells.
func NewOf(asleep func() time.Duration) *Clock {
	return &Clock{began: time.Now(), jumped: -jumpMemory, asked: -askEvery, synced: kernelSynchronised, asleep: asleep, before: asleep()}
}

// Now is the monotonic time since the run began, the time in which the machine
// slept included where the system tells it (Linux): what was permitted or read
// before is old after it. It may be called from anywhere.
func (c *Clock) Now() time.Duration {
	if c.fast != nil {
		return c.fast.now()
	}
	return time.Since(c.began) + c.sleep()
}

// sleepLeast is the shortest sleep that counts: less is the time between two
// readings of two clocks.
const sleepLeast = 250 * time.Millisecond

func (c *Clock) sleep() time.Duration {
	counted := c.slept.Load()
	if now := int64(c.asleep() - c.before); now > counted+int64(sleepLeast) && c.slept.CompareAndSwap(counted, now) {
		return time.Duration(now)
	}
	return time.Duration(c.slept.Load())
}

// Wall is the wall time alone. It may be called from anywhere.
func (c *Clock) Wall() time.Time {
	if c.fast != nil {
		at, _ := c.fast.wall()
		return at
	}
	return time.Now().Round(0).UTC()
}

// Label is the wall time, and whether it is synchronised and has not jumped of
// late. Only one goroutine may call it.
func (c *Clock) Label() (time.Time, bool) {
	if c.fast != nil {
		if at, own := c.fast.wall(); own {
			return at, false
		}
	}
	now := time.Now()
	mono := now.Sub(c.began) + c.sleep()
	offset := now.Round(0).Sub(c.began.Round(0)) - mono
	if step := offset - c.offset; step > jumpLimit || step < -jumpLimit {
		c.jumped = mono
	}
	c.offset = offset
	if mono-c.asked >= askEvery {
		c.asked, c.sure = mono, c.synced()
	}
	return now.Round(0).UTC(), c.sure && mono-c.jumped >= jumpMemory
}
