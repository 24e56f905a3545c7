package web

import (
	"context"
	"net/url"
	"sync/atomic"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// countedHistory counts what it is asked.
type countedHistory struct {
	fakeHistory
	asked *atomic.Int64
}

func (h countedHistory) Trend(ctx context.Context, id quantity.ID, from, to time.Time, n int) ([]daq.Bucket, error) {
	h.asked.Add(1)
	return h.fakeHistory.Trend(ctx, id, from, to, n)
}

// TestTrendsAreShared: what many pages ask for within 2 s is read and written once, the
// trends of the window that was answered too; an older answer, and a window that a person
// chose, are read anew.
func TestTrendsAreShared(t *testing.T) {
	var asked, clock atomic.Int64
	clock.Store(1_772_000_000_000)
	b := testBed(t, func(o *Options) {
		o.History = countedHistory{asked: &asked}
		o.Now = func() time.Time { return time.UnixMilli(clock.Load()) }
	})
	load := func() (text string) {
		_, _, text = b.ask("GET", "/api/trend?quantity=reynolds_number&buckets=240&from=-10+min", b.watch, "")
		window := decode[trendHead](t, text)
		for _, q := range []string{"reynolds_number", "level"} {
			b.answers(200, "GET", "/api/trend?"+url.Values{"quantity": {q}, "buckets": {"240"}, "from": {window.From}, "to": {window.To}}.Encode(), b.watch, "")
		}
		return text
	}
	first := load()
	clock.Add(1900)
	for range 3 {
		if load() != first {
			t.Error("another answer within 2 s")
		}
	}
	if n := asked.Load(); n != 3 {
		t.Errorf("the recording was asked %d times", n)
	}
	clock.Add(200)
	if load() == first || asked.Load() != 6 {
		t.Errorf("an answer of 2.1 s ago was given again; asked %d times", asked.Load())
	}
	for range 2 {
		b.answers(200, "GET", "/api/trend?quantity=level&buckets=240&from=2026-03-04T18:00:00Z&to=2026-03-04T19:00:00Z", b.watch, "")
	}
	if n := asked.Load(); n != 8 {
		t.Errorf("a chosen window was shared: asked %d times", n)
	}
	for range 2 * sharedMost {
		clock.Add(3000)
		load()
	}
	if n := len(b.trends.list); n > sharedMost {
		t.Errorf("%d answers are kept", n)
	}
}
