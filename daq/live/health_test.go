package live

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// The engine hears of its surroundings at the start and of each change, and not of
// an alarm that goes on waiting: of one that waits anew it does. What found the
// queue full is told again.
func TestTheEngineHearsOfItsSurroundings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		var lock sync.Mutex // of begun and h
		h := daq.Health{Recording: true}
		l := &Loop{o: LoopOptions{Clock: clock.New()}, in: make(chan daq.Input, 1)}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go l.WatchHealth(ctx, func() daq.Health {
			lock.Lock()
			defer lock.Unlock()
			now := h
			if now.Receivers.Failed != "" {
				now.Receivers.Waited = time.Since(begun)
			}
			return now
		})
		set := func(change func()) {
			lock.Lock()
			defer lock.Unlock()
			change()
		}
		heard := func(want int) {
			t.Helper()
			got := 0
			for time.Sleep(2 * healthEvery); len(l.in) > 0; time.Sleep(2 * healthEvery) {
				<-l.in
				got++
			}
			if got != want {
				t.Errorf("told %d times, want %d", got, want)
			}
		}
		heard(1)
		set(func() { h.Broker = true })
		heard(1)
		set(func() { h.Receivers.Failed, begun = "the receiver", time.Now() })
		heard(1)
		set(func() { begun = time.Now() })
		heard(1)
		l.in <- daq.Input{}
		set(func() { h.Broker = false })
		heard(2)
		heard(0)
	})
}
