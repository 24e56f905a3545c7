package clock

import (
	"context"
	"fmt"
	"slices"
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
			c.WatchPace(ctx, func(follows bool, actual float64) { told = append(told, fmt.Sprintf("%v %.1f", follows, actual)) })
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
		if want := []string{"true 10.0"}; len(told) != 2 || !slices.Equal(told[1:], want) || told[0] >= "false 9.0" {
			t.Errorf("told %v", told)
		}
	})
}

// A clock of the machine's own is as fast as itself.
func TestAPlainClockHasNoPace(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	New().WatchPace(ctx, func(bool, float64) { t.Error("told") })
}
