package clock

import (
	"testing"
	"testing/synctest"
	"time"
)

// Delays of the clock's are a tenth of the machine's at speed 10, and its label
// begins with the wall time at the start.
func TestAFastClockRunsSoManyTimesAsFast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewFast(10)
		time.Sleep(time.Minute)
		if got := c.Now(); got != 0 {
			t.Errorf("before the start: %v", got)
		}
		c.Start()
		began := time.Now()
		time.Sleep(3 * time.Second)
		if got := c.Now(); got != 30*time.Second {
			t.Errorf("after 3 s: %v, want 30 s", got)
		}
		wall, synchronised := c.Label()
		if want := began.Add(30 * time.Second); !wall.Equal(want) || synchronised {
			t.Errorf("label %v, synchronised %v, want %v and not", wall, synchronised, want)
		}
		if got := []time.Duration{c.Real(time.Second), c.Of(time.Second), c.Wait(time.Second), c.Wait(0)}; got[0] != 100*time.Millisecond ||
			got[1] != 10*time.Second || got[2] != 100*time.Millisecond || got[3] != leastWait {
			t.Errorf("a second there and back, and waits: %v", got)
		}
	})
}

// A clock of the machine's own waits for nobody, and nothing is scaled.
func TestAPlainClockWaitsForNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := New()
		c.Start()
		c.Worker().Due(0)
		time.Sleep(time.Minute)
		if got := c.Now(); got != time.Minute || c.Speed() != 1 {
			t.Errorf("after a minute: %v at speed %v", got, c.Speed())
		}
		if c.Real(time.Second) != time.Second || c.Of(time.Second) != time.Second || c.Wait(0) != 0 {
			t.Error("it scales")
		}
	})
}

// A fast clock stands while work is overdue by 0.2 s of its own, goes on
// from there, and does not wait for what hangs.
func TestAFastClockWaitsForWhoWorksByIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewFast(10)
		slow, quick := c.Worker(), c.Worker()
		slow.Due(time.Second)
		quick.Due(time.Hour)
		c.Start()
		at := func(passes, want time.Duration) {
			t.Helper()
			time.Sleep(passes)
			if got := c.Now(); got != want {
				t.Errorf("%v, want %v", got, want)
			}
		}
		look := func(passes time.Duration) {
			for range passes / (10 * time.Millisecond) {
				time.Sleep(10 * time.Millisecond)
				c.Now()
			}
		}
		at(120*time.Millisecond, 1200*time.Millisecond)
		look(patience - 200*time.Millisecond)
		at(100*time.Millisecond, 1200*time.Millisecond) // stands
		slow.Due(2 * time.Second)
		at(10*time.Millisecond, 1300*time.Millisecond) // goes on, and makes up for nothing
		at(90*time.Millisecond, 2200*time.Millisecond)
		for range 30 { // always too slow, and yet it works: it is waited for
			slow.Due(c.Now())
			at(90*time.Millisecond, c.Now()+200*time.Millisecond)
		}
		before := c.Now()
		at(time.Minute, before) // the machine itself stood still
		look(patience - 450*time.Millisecond)
		at(100*time.Millisecond, before)
		at(200*time.Millisecond, before+2*time.Second) // patience is over: it hangs
		slow.End()
		at(time.Second, before+12*time.Second)
	})
}

// Another speed changes nothing of the time that is reached; a pause adds none, and
// the label, the machine's until then, goes on with it.
func TestASharedClockChangesItsSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, plain := NewFast(1), New()
		plain.synced = func() bool { return true }
		c.synced = plain.synced
		time.Sleep(time.Second)
		first, sure := c.Label()
		if now := time.Now().UTC(); !first.Equal(now) || !sure || c.Now() != time.Second || !c.Shared() || plain.Shared() {
			t.Errorf("at speed 1: %v, %v, %v", first, sure, c.Now())
		}
		want := time.Second
		for _, step := range []struct {
			speed  float64
			paused bool
			adds   time.Duration
		}{{60, false, 2 * time.Minute}, {60, true, 0}, {10, true, 0}, {10, false, 20 * time.Second}, {1, false, 2 * time.Second}} {
			changed, at := c.Changed(), c.Now()
			c.SetPace(step.speed, step.paused)
			select {
			case <-changed:
			default:
				t.Error("nobody is woken")
			}
			if got := c.Now(); got != at || got != want {
				t.Errorf("speed %v: from %v to %v, want %v", step.speed, at, got, want)
			}
			if speed, paused := c.Pace(); speed != step.speed || paused != step.paused || c.Of(time.Second) != time.Duration(step.speed*1e9) {
				t.Errorf("speed %v, paused %v, want %+v", speed, paused, step)
			}
			if wait := c.Wait(0); step.paused != (wait == pausedLook) {
				t.Errorf("waits %v", wait)
			}
			time.Sleep(2 * time.Second)
			want += step.adds
			label, sure := c.Label()
			if got := c.Now(); got != want || label.Sub(first) != want-time.Second || sure {
				t.Errorf("%+v: %v, want %v, label after %v, sure %v", step, got, want, label.Sub(first), sure)
			}
		}
		same := c.Changed()
		c.SetPace(1, false)
		plain.SetPace(10, true)
		if time.Sleep(time.Second); c.Changed() != same || plain.Speed() != 1 || plain.Changed() != nil {
			t.Error("what does not change wakes somebody, or a clock of the machine's own changes")
		}
	})
}

// At speed 1 nobody is waited for; with another speed they are from where it is.
func TestASharedClockWaitsOnceItIsFast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewFast(1)
		w := c.Worker()
		w.Due(0)
		if time.Sleep(time.Second); c.Now() != time.Second {
			t.Errorf("at speed 1 it stands at %v", c.Now())
		}
		c.SetPace(10, false)
		if time.Sleep(time.Second); c.Now() != time.Second {
			t.Errorf("it goes on to %v without the worker", c.Now())
		}
		w.Due(3 * time.Second)
		if time.Sleep(time.Second); c.Now() != 3*time.Second+mostOverdue {
			t.Errorf("it goes to %v", c.Now())
		}
		c.SetPace(1, false)
		if time.Sleep(time.Second); c.Now() != 4*time.Second+mostOverdue {
			t.Errorf("back at speed 1: %v", c.Now())
		}
	})
}

// What passed before a change passed at the speed of before, whoever looked at the clock
// meanwhile.
func TestAChangeOfSpeedCountsFromNow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewFast(1)
		time.Sleep(time.Second)
		c.SetPace(10, false)
		time.Sleep(time.Second)
		if got := c.Now(); got != 11*time.Second {
			t.Errorf("after a second at speed 1 and one at 10: %v", got)
		}
	})
}
