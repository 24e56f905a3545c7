package web

import (
	"context"
	"fmt"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// hungHistory answers when it is let go.
type hungHistory struct {
	fakeHistory
	asked atomic.Int32
	let   chan struct{}
}

func (h *hungHistory) Trend(ctx context.Context, id quantity.ID, from, to time.Time, n int) ([]daq.Bucket, error) {
	h.asked.Add(1)
	select {
	case <-h.let:
		return h.fakeHistory.Trend(ctx, id, from, to, n)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// TestCrowdLeavesTheRecordingToOthers: of many who ask for what is costly only
// a few are served at once; who asks for something else, and an operator, does
// not wait behind them.
func TestCrowdLeavesTheRecordingToOthers(t *testing.T) {
	h := &hungHistory{let: make(chan struct{})}
	b := testBed(t, func(o *Options) { o.History = h })
	const path = "/api/trend?quantity=level&buckets=10"
	for i := range 20 { // each for a trend of its own: the same would be made for all at once
		b.strangers(1, fmt.Sprintf("GET %s%d HTTP/1.1\r\nHost: localhost\r\n\r\n", path, i))
	}
	asked := func(n int32) {
		t.Helper()
		for deadline := time.Now().Add(10 * time.Second); h.asked.Load() < n; runtime.Gosched() {
			if time.Now().After(deadline) {
				t.Fatalf("%d ask the recording, not %d", h.asked.Load(), n)
			}
		}
	}
	asked(2)
	for _, token := range []string{"", b.watch, b.operate} {
		b.answers(200, "GET", "/api/now", token, "")
	}
	if n := h.asked.Load(); n != 2 {
		t.Errorf("%d strangers ask the recording at once", n)
	}
	answered := make(chan int, 3)
	for range 3 {
		go func() {
			status, _, _ := b.ask("GET", path, b.operate, "")
			answered <- status
		}()
	}
	asked(2 + 3)
	close(h.let)
	for range 3 {
		if status := <-answered; status != 200 {
			t.Errorf("an operator's trend: %d", status)
		}
	}
	asked(20 + 3) // nobody was forgotten
}

// TestDisplacedRequestsEnd: what a displaced connection had asked for is given
// up, so that a storm does not leave more and more of it behind.
func TestDisplacedRequestsEnd(t *testing.T) {
	h := &hungHistory{let: make(chan struct{})}
	b := testBed(t, func(o *Options) { o.History = h })
	before := runtime.NumGoroutine()
	// So much follows the request that the server does not see the hanging up.
	say := strings.Repeat("GET /api/trend?quantity=level HTTP/1.1\r\nHost: localhost\r\n\r\n", 200)
	list := b.strangers(3*places[anybody]+mostEnding, say)
	for deadline := time.Now().Add(12 * time.Second); ; runtime.Gosched() {
		b.listener.mu.Lock()
		open, ending := len(b.listener.open), b.listener.ending
		b.listener.mu.Unlock()
		if open <= places[anybody] && ending == 0 && int(b.listener.displacedSoFar()) >= len(list)-places[anybody] {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d open, %d ending, %v displaced", open, ending, b.listener.displacedSoFar())
		}
	}
	if n := runtime.NumGoroutine() - before; n > 3*places[anybody] {
		t.Errorf("%d goroutines are left", n)
	}
	b.answers(200, "POST", "/api/permit", b.operate, `{"action":"withdraw"}`)
	close(h.let)
}
