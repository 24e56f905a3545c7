package web

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

func TestMain(m *testing.M) {
	daqtest.AtOnce("4")
	goleak.VerifyTestMain(withChromium{m})
}

// withChromium ends the browser after the tests, before what is left is looked at.
type withChromium struct{ *testing.M }

func (w withChromium) Run() int {
	code := w.M.Run()
	if chromium.end != nil {
		chromium.end()
	}
	return code
}

// listener reads a stream line by line.
type listener struct {
	*testing.T
	lines *bufio.Scanner
	close func()
}

func (b *bed) listen(path, token string, change ...func(*http.Request)) *listener {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.Context(), time.Minute)
	r, err := http.NewRequestWithContext(ctx, "GET", b.base+path, nil)
	must(b, err)
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	for _, c := range change {
		c(r)
	}
	answer, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(r)
	must(b, err)
	if got := answer.Header.Get("Content-Type"); got != "text/event-stream; charset=utf-8" {
		b.Fatalf("content type %q, status %d", got, answer.StatusCode)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, 1<<20)
	l := &listener{b.T, lines, func() { cancel(); _ = answer.Body.Close() }}
	b.Cleanup(l.close)
	return l
}

// until reads on to a line that begins so, and gives what follows.
func (l *listener) until(begin string) string {
	l.Helper()
	for l.lines.Scan() {
		if rest, ok := strings.CutPrefix(l.lines.Text(), begin); ok {
			return rest
		}
	}
	l.Fatalf("the stream ended before %q: %v", begin, l.lines.Err())
	return ""
}

func TestFollow(t *testing.T) {
	told := make(chan daq.Message)
	b := testBed(t, func(o *Options) {
		o.Follow = func(ctx context.Context, hear func(daq.Message)) {
			for {
				select {
				case m := <-told:
					hear(m)
				case <-ctx.Done():
					return
				}
			}
		}
	})
	l := b.listen("/api/follow", "")
	l.until("event: state")
	if text := l.until("data: "); decode[map[string]any](t, text)["reynolds_number"] != 1834.2 {
		t.Errorf("first state: %s", text)
	}
	next := hotState()
	b.rig.set(func(f *fakeRig) { f.state = next })
	b.ObserveState(next)
	l.until("event: state")
	if text := l.until("data: "); decode[map[string]any](t, text)["regime"] != "turbulent" {
		t.Errorf("next state: %s", text)
	}
	told <- daq.Event{Alarm: &daq.AlarmEvent{Name: "head-lost", State: "unacknowledged"}}.Message("5a9c", 9)
	l.until("event: alarm")
	if got := decode[map[string]any](t, l.until("data: ")); got["name"] != "head-lost" || got["sequence"] != 9.0 || got["recorded"] != true {
		t.Errorf("alarm: %v", got)
	}
	told <- daq.Event{Note: &daq.Note{Kind: "reload", Text: "done"}}.Message("", 0)
	l.until("event: event")
	if got := decode[map[string]any](t, l.until("data: ")); got["kind"] != "reload" || got["recorded"] != false {
		t.Errorf("note: %v", got)
	}
}

// TestFollowIsNeverSilent: a watchdog of 2.5 s may rest on it, even when the
// engine hangs.
func TestFollowIsNeverSilent(t *testing.T) {
	t.Parallel()
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) { f.dead = errFake })
	for _, path := range []string{"/api/follow", "/page/follow"} {
		l := b.listen(path, "")
		last := time.Now()
		for range 6 {
			if !l.lines.Scan() {
				t.Fatal(l.lines.Err())
			}
			if gap := time.Since(last); gap > 2*time.Second {
				t.Errorf("%s: silent for %v", path, gap)
			}
			last = time.Now()
		}
	}
}

func TestRemovedTokenEndsTheStream(t *testing.T) {
	t.Parallel()
	b := testBed(t, func(o *Options) { o.Listen = "0.0.0.0:0" })
	b.base = fmt.Sprintf("http://%s:%s", outside(t), b.Addr()[strings.LastIndex(b.Addr(), ":")+1:])
	l := b.listen("/api/follow", b.watch)
	l.until("event: state")
	must(t, RemoveToken(b.file, "wes"))
	for l.lines.Scan() { // to its end, or the listener's timeout
	}
	if err := l.lines.Err(); err != nil {
		t.Errorf("the stream did not end by itself: %v", err)
	}
}

// TestPageStream: only the parts that changed are sent again.
func TestPageStream(t *testing.T) {
	t.Parallel()
	b := testBed(t, nil)
	l := b.listen("/page/follow", "")
	first := decode[map[string]string](t, l.until("data: "))
	if len(first) != len(partNames)+3 || !strings.Contains(first["sign"], "laminar") {
		t.Errorf("first: %d parts, sign %s", len(first), first["sign"])
	}
	next := steadyState()
	next.Values.Put(quantity.Level, 0.2533)
	b.rig.set(func(f *fakeRig) { f.state = next })
	second := map[string]string{}
	for len(second) == 0 {
		second = decode[map[string]string](t, l.until("data: "))
	}
	if second["sign"] != "" || !strings.Contains(second["bench"], "253.3") {
		t.Errorf("second: %v", second)
	}
}

// TestHubDropsAndCounts: who does not read loses the oldest news of the state
// and, beyond the queue, events; nobody waits.
func TestHubDropsAndCounts(t *testing.T) {
	var h hub
	f := h.join()
	defer h.leave(f)
	for range followQueue + 5 {
		h.tell(daq.Message{Class: daq.ClassEvent})
		h.wake()
	}
	if h.dropped.Load() != 5 || len(f.events) != followQueue || len(f.news) != 1 {
		t.Errorf("dropped %d, events %d, news %d", h.dropped.Load(), len(f.events), len(f.news))
	}
}
