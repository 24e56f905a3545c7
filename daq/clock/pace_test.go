package clock

import (
	"context"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A clock that stands half of the time at speed 10 runs some five times as fast,
// and says so once; so it does when nothing holds it any more. What is between 0.9
// and 0.95 of the speed changes nothing.
func TestAFastClockSaysThatItIsSlow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewFast(10)
		ctx, cancel := context.WithCancel(t.Context())
		var told []string
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			c.WatchPace(ctx, func(slow string) { told = append(told, slow) })
		}()
		time.Sleep(time.Millisecond)
		w := c.Worker()
		holding := func(share float64, over time.Duration) {
			for range over / (100 * time.Millisecond) {
				w.Until(c.Now() + time.Duration(share*float64(time.Second)))
				time.Sleep(100 * time.Millisecond)
			}
		}
		c.Start()
		holding(2, 20*time.Second)
		holding(0.92, 20*time.Second)
		if len(told) > 0 {
			t.Errorf("told %v though it follows", told)
		}
		holding(0.5, 20*time.Second)
		holding(0.92, 20*time.Second)
		if len(told) != 1 {
			t.Errorf("told %v, want one word that it is slow", told)
		}
		w.End()
		time.Sleep(20 * time.Second)
		cancel()
		<-ended
		var actual float64
		if len(told) == 2 {
			_, word, _ := strings.Cut(told[0], "at speed 10: rig and daemon run some ")
			word, _, _ = strings.Cut(word, " ")
			actual, _ = strconv.ParseFloat(word, 64)
		}
		if actual <= 4 || actual >= 9 || told[1] != "" {
			t.Errorf("told %v", told)
		}
	})
}

// A clock of the machine's own is as fast as itself.
func TestAPlainClockHasNoPace(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	New().WatchPace(ctx, func(string) { t.Error("told") })
}

// A fast clock waits for who is not ready, and no longer than a second.
func TestAFastClockStartsOnceAllIsReady(t *testing.T) {
	for _, c := range []struct{ ready, starts time.Duration }{{0, 0}, {300 * time.Millisecond, 300 * time.Millisecond}, {time.Hour, time.Second}} {
		synctest.Test(t, func(t *testing.T) {
			fast, began := NewFast(10), time.Now()
			fast.StartOnce(t.Context(), func() bool { return time.Since(began) >= c.ready })
			if took := time.Since(began); took != c.starts {
				t.Errorf("ready after %v: started after %v", c.ready, took)
			}
			if time.Sleep(time.Second); fast.Now() != 10*time.Second {
				t.Errorf("a second after its start it is at %v", fast.Now())
			}
		})
	}
}
