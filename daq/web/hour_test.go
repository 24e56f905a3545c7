package web

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/memory"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

var long = flag.Bool("long", false, "play the long forms")

// hurried serves a rig's page, whose stream brings one update after another as fast as
// the page takes them.
type hurried struct {
	*bed
	at      string
	updates chan *daq.State
	ended   chan struct{}
	asked   atomic.Int64 // requests of the page, but for its stream
	open    atomic.Int64 // of them those that are not answered yet
	count   int
}

func newHurried(t *testing.T) *hurried {
	h := &hurried{updates: make(chan *daq.State), ended: make(chan struct{})}
	h.bed = testBed(t, func(o *Options) {
		o.OneTimeKey, o.Facts.Permit, o.Facts.Plans = "once", true, []string{"four temperatures"}
		o.Simulator = &fakeHands{now: daq.Simulator{Valve: 0.4, Supply: 3.5e-3 / 60, Heater: 45, Speed: 10, Scenarios: []daq.Scenario{{Name: "sweep", About: "Four temperatures."}}}}
	})
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/page/follow" {
			h.stream(w, r)
			return
		}
		h.asked.Add(1)
		h.open.Add(1)
		defer h.open.Add(-1)
		h.Handler().ServeHTTP(w, r)
	}))
	t.Cleanup(func() { close(h.ended); front.Close() })
	h.at = front.URL
	return h
}

// stream says what followPage says, as soon as there is an update.
func (h *hurried) stream(w http.ResponseWriter, r *http.Request) {
	st, err := openStream(w)
	tick := time.NewTicker(keepAlive)
	defer tick.Stop()
	for seen := uint64(0); err == nil; {
		now := h.snapshot(0)
		if err = st.event("page", h.newsFor(seen, now)); err != nil {
			return // the page connects again, and is told the whole
		}
		seen = now.number
		select {
		case <-r.Context().Done():
			return
		case <-h.ended:
			return
		case state := <-h.updates:
			h.rig.set(func(f *fakeRig) { f.state = state })
		case <-tick.C:
		}
	}
}

// stateAt is what the rig says at an update: the readings always differ; calm for half
// of the time, and in between an alarm, a bad instrument and an experiment.
func stateAt(i int) *daq.State {
	s := [...]func() *daq.State{steadyState, hotState, steadyState, badState, steadyState, running}[i/10%6]()
	s.Time = s.Time.Add(time.Duration(i) * time.Second)
	s.Values.Put(quantity.Level, 0.25+float64(i%97)/1e5)
	s.Values.Put(quantity.Flow, 1.18e-5+float64(i%89)/1e9)
	return s
}

// play sends updates and waits until the page shows the last one.
func (h *hurried) play(ctx context.Context, n int) {
	h.Helper()
	for range n {
		h.count++
		if h.count%30 == 0 {
			h.hub.told.Add(1) // something was written down: the page lists the results again
		}
		select {
		case h.updates <- stateAt(h.count):
		case <-time.After(20 * time.Second):
			h.Fatalf("the page takes no update after %d", h.count)
		}
		if h.count%20 == 0 { // no more are under way than a slow machine shows in seconds
			h.shows(ctx)
		}
	}
	h.shows(ctx)
	for deadline := time.Now().Add(time.Minute); h.open.Load() > 0; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			h.Fatalf("%d requests of the page are not answered", h.open.Load())
		}
	}
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(true))))`, chromedp.EvalAwaitPromise))
	must(h, err)
}

// shows waits until the page shows the last update.
func (h *hurried) shows(ctx context.Context) {
	h.Helper()
	within(h.T, ctx, time.Minute, fmt.Sprintf(`document.querySelector('[data-part="clock"]').textContent.includes(%q)`, clock(stateAt(h.count).Time, h.facts.Load())))
}

// lifetime makes the page's own timers follow the updates in place of the clock: one
// update is 0.4 s, the most that a page gets.
const lifetime = `(() => {
	const timers = [];
	window.setInterval = (work, ms) => timers.push({work, every: Math.max(1, Math.round(ms / 400))});
	window.clearInterval = () => {};
	let n = 0;
	addEventListener('DOMContentLoaded', () => {
		new MutationObserver(() => { n++; for (const t of timers) if (n % t.every === 0) t.work(); }).observe(document.querySelector('[data-part="clock"]'), {childList: true});
	});
})()`

// use is what a page holds.
type use struct {
	heap                      float64 // bytes of JavaScript's heap
	objects, nodes, listeners int64
}

// call is one command of the browser's protocol.
func call[P, R any](t testing.TB, ctx context.Context, command cdp.Command[P, R], params P) (result R) {
	t.Helper()
	must(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) (err error) {
		result, err = cdp.Call(ctx, tab, command, params)
		return err
	})))
	return result
}

// held collects what nobody holds any more, and measures what is left.
func held(t *testing.T, ctx context.Context) (u use) {
	t.Helper()
	for range 2 { // what a finalizer lets go is found by the second
		call(t, ctx, heapprofiler.CollectGarbage, cdp.Empty{})
	}
	u.heap = call(t, ctx, runtime.GetHeapUsage, cdp.Empty{}).UsedSize
	counters := call(t, ctx, memory.GetDOMCounters, cdp.Empty{})
	u.nodes, u.listeners = counters.Nodes, counters.JsEventListeners
	const group = "counted"
	root := call(t, ctx, runtime.Evaluate, runtime.EvaluateParams{Expression: "Object.prototype", ObjectGroup: group})
	all := call(t, ctx, runtime.QueryObjects, runtime.QueryObjectsParams{PrototypeObjectID: root.Result.ObjectID, ObjectGroup: group})
	n := call(t, ctx, runtime.CallFunctionOn, runtime.CallFunctionOnParams{ObjectID: all.Objects.ObjectID, FunctionDeclaration: "function() { return this.length; }"})
	must(t, json.Unmarshal(n.Result.Value, &u.objects))
	call(t, ctx, runtime.ReleaseObjectGroup, runtime.ReleaseObjectGroupParams{ObjectGroup: group})
	return u
}

// lowest takes the lowest of some measurements, until enough says that one is low enough:
// what the browser has still to let go is no growth, and what leaked never goes.
func lowest(t *testing.T, ctx context.Context, enough func(use) bool) use {
	t.Helper()
	low := held(t, ctx)
	for deadline := time.Now().Add(10 * time.Second); !enough(low) && time.Now().Before(deadline); {
		next := held(t, ctx)
		low = use{min(low.heap, next.heap), min(low.objects, next.objects), min(low.nodes, next.nodes), min(low.listeners, next.listeners)}
	}
	return low
}

// TestAnHourOfUpdatesLeavesNothingBehind: after a warm-up the page's memory does not
// grow, by the browser's own count after a forced collection. A twentieth of an hour in
// short; -long plays the whole: 9,000 updates, for the page gets one in 0.4 s at most,
// and its timers follow them. One small object that is kept from each update breaks it.
func TestAnHourOfUpdatesLeavesNothingBehind(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	warm, n := 180, 420 // whole rounds of the states
	if *long {
		warm, n = 1200, 9000
	}
	ctx := browserFor(t, 20*time.Minute, emulated(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: lifetime}))
	h := newHurried(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(h.at+"/enter?key=once")))
	until(t, ctx, `document.documentElement.dataset.role === 'operate'`)
	h.play(ctx, warm)
	tries := 0
	before, asked := lowest(t, ctx, func(use) bool { tries++; return tries == 3 }), h.asked.Load()
	h.play(ctx, n)
	allowed := use{before.heap + 150e3, before.objects + int64(n)/2, before.nodes + int64(n)/4, before.listeners + int64(n)/4}
	if !*long { // so soon after the start a chart may come late; the whole hour holds the nodes too
		allowed.nodes = 1 << 30
	}
	after := lowest(t, ctx, func(u use) bool {
		return u.heap <= allowed.heap && u.objects <= allowed.objects && u.nodes <= allowed.nodes && u.listeners <= allowed.listeners
	})
	t.Logf("%d updates and %d requests: from %+v to %+v", n, h.asked.Load()-asked, before, after)
	if after.heap > allowed.heap || after.objects > allowed.objects || after.nodes > allowed.nodes || after.listeners > allowed.listeners {
		t.Errorf("it grew from %+v to %+v in %d updates; allowed is %+v", before, after, n, allowed)
	}
	if got := h.asked.Load() - asked; got < int64(n)/20 { // updates that come at once count as one
		t.Errorf("the page asked only %d times: its timers stood", got)
	}
}
