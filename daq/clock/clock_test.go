package clock

import (
	"testing"
	"testing/synctest"
	"time"
)

// A machine that slept for a minute: what was permitted before is a minute old.
func TestTheClockCountsSleep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, slept := New(), time.Hour
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

// A wall clock that is stepped makes its label doubtful for ten minutes; one that is
// drawn slowly does not.
func TestAJumpOfTheWallClockIsFlagged(t *testing.T) {
	for _, c := range []struct {
		step  time.Duration
		flags bool
	}{{600 * time.Millisecond, true}, {-600 * time.Millisecond, true}, {400 * time.Millisecond, false}, {-400 * time.Millisecond, false}, {time.Hour, true}} {
		synctest.Test(t, func(t *testing.T) {
			clock := New()
			clock.synced = func() bool { return true }
			label := func() bool { _, sure := clock.Label(); return sure }
			if time.Sleep(time.Second); !label() {
				t.Fatal("doubtful from the start")
			}
			clock.offset -= c.step // as if the wall clock had stood otherwise until now
			if time.Sleep(time.Second); label() == c.flags {
				t.Errorf("a step of %v: flagged %v, want %v", c.step, !c.flags, c.flags)
			}
			if time.Sleep(10*time.Minute - 2*time.Second); label() == c.flags {
				t.Errorf("ten minutes after a step of %v: flagged %v, want %v", c.step, !c.flags, c.flags)
			}
			if time.Sleep(2 * time.Second); !label() {
				t.Errorf("flagged for more than ten minutes after a step of %v", c.step)
			}
		})
	}
}

// The kernel is asked once a second, however many labels are made, and believed then.
func TestTheKernelIsAskedOnceASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked, says := 0, true
		c := New()
		c.synced = func() bool { asked++; return says }
		for i := range 50 {
			if _, sure := c.Label(); sure == (i >= 40) {
				t.Errorf("label %d: sure %v", i, sure)
			}
			if i == 31 {
				says = false
			}
			time.Sleep(100 * time.Millisecond)
		}
		if asked != 5 {
			t.Errorf("asked %d times in 5 s", asked)
		}
	})
}
