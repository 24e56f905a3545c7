package daq

import (
	"testing"
	"testing/synctest"
	"time"
)

// A machine that slept for a minute: what was permitted before is a minute old.
func TestTheClockCountsSleep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, slept := NewClock(), time.Hour
		c.asleep, c.before = func() time.Duration { return slept }, slept
		time.Sleep(time.Second)
		slept += 100 * time.Millisecond // the two clocks are not read at one instant
		if got := c.Now(); got != time.Second {
			t.Errorf("after a second awake: %v", got)
		}
		slept += time.Minute
		if got, want := c.Now(), time.Second+time.Minute+100*time.Millisecond; got != want {
			t.Errorf("after a minute asleep: %v, want %v", got, want)
		}
		last := c.Now()
		slept = 0 // it cannot be told for once
		if got := c.Now(); got < last {
			t.Errorf("it went back from %v to %v", last, got)
		}
	})
}
