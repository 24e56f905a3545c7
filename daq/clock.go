package daq

import "time"

// jumpLimit is the step of the wall clock against the monotonic one that is
// taken for a jump; jumpMemory is how long the label stays doubtful after it.
const (
	jumpLimit  = 500 * time.Millisecond
	jumpMemory = 10 * time.Minute
)

// Clock gives monotonic time since a run began, and the wall time as a label
// with a flag whether it can be relied upon.
type Clock struct {
	began  time.Time // with its monotonic reading
	offset time.Duration
	jumped time.Duration // monotonic time of the last jump; < 0: none
	synced func() bool
}

// NewClock starts a run's clock. The system's own word on synchronisation is
// asked where there is one (adjtimex on Linux); elsewhere it counts as not known.
func NewClock() *Clock {
	return &Clock{began: time.Now(), jumped: -jumpMemory, synced: kernelSynchronised}
}

// Now is the monotonic time since the run began. It may be called from
// anywhere.
func (c *Clock) Now() time.Duration { return time.Since(c.began) }

// Label is the wall time, and whether it is synchronised and has not jumped of
// late. Only one goroutine may call it.
func (c *Clock) Label() (time.Time, bool) {
	now := time.Now()
	mono := now.Sub(c.began)
	offset := now.Round(0).Sub(c.began.Round(0)) - mono
	if step := offset - c.offset; step > jumpLimit || step < -jumpLimit {
		c.jumped = mono
	}
	c.offset = offset
	return now.Round(0).UTC(), c.synced() && mono-c.jumped >= jumpMemory
}
