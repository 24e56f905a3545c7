package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"
)

// BenchmarkPaint loads the page and, beside it, an empty one in the same browser, and
// tells the median time from the navigation to their first paint and to the first with
// content (Paint Timing, W3C).
func BenchmarkPaint(b *testing.B) {
	ctx, s := readers(b, &fakeRig{state: hotState()})
	empty := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, `<!DOCTYPE html><html lang="en"><title>empty</title><p>.</p></html>`)
	}))
	defer empty.Close()
	list := map[string][]float64{}
	for b.Loop() {
		for name, at := range map[string]string{"page": "http://" + s.Addr(), "empty": empty.URL} {
			must(b, chromedp.Do(ctx, chromedp.Navigate(at)))
			until(b, ctx, `performance.getEntriesByName('first-contentful-paint').length === 1`)
			for _, paint := range []string{"first-paint", "first-contentful-paint"} {
				key := name + "-" + paint + "-ms"
				list[key] = append(list[key], look[float64](b, ctx, `performance.getEntriesByName('`+paint+`')[0].startTime`))
			}
		}
	}
	for key, times := range list {
		slices.Sort(times)
		b.ReportMetric(times[len(times)/2], key)
	}
}

// BenchmarkUpdate tells how long the page's main thread works for one update: the
// browser's TaskDuration from one update to the next, its own timers and trends with it.
func BenchmarkUpdate(b *testing.B) {
	rig := &fakeRig{state: stateAt(0)}
	ctx, s := readers(b, rig)
	must(b, chromedp.Do(ctx, chromedp.Navigate("http://"+s.Addr())))
	until(b, ctx, `document.documentElement.dataset.link === 'live' && document.querySelectorAll('.chart svg').length >= 4`)
	call(b, ctx, performance.Enable, performance.EnableParams{})
	must(b, chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`window.shown = 0; new MutationObserver(() => window.shown++).observe(document.querySelector('[data-part="clock"]'), {childList: true})`)))
	began, n := busy(b, ctx), 0
	for b.Loop() {
		n++
		state := stateAt(n)
		rig.set(func(f *fakeRig) { f.state = state })
		s.ObserveState(state)
		for deadline := time.Now().Add(20 * time.Second); look[int](b, ctx, `window.shown`) < n; time.Sleep(50 * time.Millisecond) {
			if time.Now().After(deadline) {
				b.Fatalf("update %d is not shown", n)
			}
		}
	}
	b.ReportMetric((busy(b, ctx)-began)*1000/float64(n), "main-thread-ms/op")
}

// busy is how long the page's main thread has worked, in seconds.
func busy(b *testing.B, ctx context.Context) float64 {
	for _, m := range call(b, ctx, performance.GetMetrics, cdp.Empty{}).Metrics {
		if m.Name == "TaskDuration" {
			return m.Value
		}
	}
	b.Fatal("the browser counts no TaskDuration")
	return 0
}

// readers serves the page of a rig, and opens a browser.
func readers(b *testing.B, rig *fakeRig) (context.Context, *Server) {
	s, err := New(Options{Listen: "127.0.0.1:0", Facts: testFacts(), Rig: rig, History: fakeHistory{}, Log: quiet, Version: "test"})
	must(b, err)
	must(b, s.Listen())
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	b.Cleanup(func() { cancel(); must(b, <-ended) })
	return browser(b, chromedp.EmulateViewport(1366, 768)), s
}
