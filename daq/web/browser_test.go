package web

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"flowrigd/calc/quantity"
	"flowrigd/daq/daqtest"
)

// chromium is the one browser of this package's pages, begun by the first.
var chromium struct {
	begin sync.Once
	ctx   context.Context
	err   error
	end   func()
}

func beginChromium(path string) {
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, closeTab := chromedp.NewContext(ctx)
	chromium.ctx, chromium.end = ctx, func() { closeTab(); stop() }
	chromium.err = chromedp.Do(ctx)
}

// browser opens a page with a profile of its own, set as a reader's is.
func browser(t testing.TB, set ...chromedp.Action[chromedp.Void]) context.Context {
	t.Helper()
	return browserFor(t, 3*time.Minute, set...)
}

// browserFor does so for at most a time.
func browserFor(t testing.TB, limit time.Duration, set ...chromedp.Action[chromedp.Void]) context.Context {
	t.Helper()
	path := daqtest.Program(t, "chromium", "chromium")
	chromium.begin.Do(func() { beginChromium(path) })
	must(t, chromium.err)
	ctx, closeTab := chromedp.NewContext(chromium.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(closeTab)
	ctx, cancel := context.WithTimeout(ctx, limit)
	t.Cleanup(cancel)
	must(t, chromedp.Do(ctx, set...))
	return ctx
}

// emulated is a setting of the page's surroundings.
func emulated[P, R any](command cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, page *chromedp.Target) error {
		_, err := cdp.Call(ctx, page, command, params)
		return err
	})
}

var must = daqtest.Must

func until(t testing.TB, ctx context.Context, expression string) {
	t.Helper()
	within(t, ctx, 10*time.Second, expression)
}

// within polls; a page that loads itself anew meanwhile is asked again.
func within(t testing.TB, ctx context.Context, wait time.Duration, expression string) {
	t.Helper()
	for deadline := time.Now().Add(wait); ; {
		_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(time.Until(deadline))))
		if err == nil {
			return
		}
		if ctx.Err() != nil || !time.Now().Before(deadline) {
			t.Fatalf("waiting for %s: %v", expression, err)
		}
	}
}

// TestPageFollows: the page shows the state, follows it, shows an alarm, lets
// an operator answer it, and says within 3 s that the daemon is gone.
func TestPageFollows(t *testing.T) {
	ctx := browser(t)
	b := testBed(t, func(o *Options) { o.OneTimeKey = "once" })
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.URL())))
	until(t, ctx, `document.documentElement.dataset.link === 'live'`)
	until(t, ctx, `document.documentElement.dataset.role === 'operate'`)
	until(t, ctx, `document.querySelector('.word').textContent === 'laminar' && document.getElementById('re').textContent.includes('834')`)
	until(t, ctx, `document.querySelectorAll('figure[data-quantity] .chart svg').length === 4`)

	next := hotState()
	b.rig.set(func(f *fakeRig) { f.state = next })
	b.ObserveState(next)
	until(t, ctx, `document.querySelector('.word').textContent === 'turbulent' && document.title.startsWith('▲ water-overheat · turbulent')`)
	until(t, ctx, `document.querySelector('.notice.caution').textContent.includes('scalds')`)
	must(t, chromedp.Do(ctx, chromedp.Click(`#acknowledge-water-overheat`)))
	until(t, ctx, `document.getElementById('answer').textContent.includes('Done: acknowledge water-overheat')`)
	if got := b.rig.commands(); len(got) != 1 || got[0].Who != oneTimeName || got[0].Alarm() != "water-overheat" {
		t.Errorf("commands = %+v", got)
	}

	address := b.Addr()
	b.halt()
	within(t, ctx, 3*time.Second, `document.documentElement.dataset.link === 'lost'`)
	shown, err := chromedp.Run(ctx, chromedp.Evaluate[string](`getComputedStyle(document.getElementById('lost')).display + ' ' + document.getElementById('lost').textContent`))
	must(t, err)
	if want := "block Connection lost. What you see is from " + clock(next.Time, b.facts.Load()) + ", not from now. Trying again."; shown != want {
		t.Errorf("the loss is shown as %q", shown)
	}

	b.rig.set(func(f *fakeRig) { f.state = badState() })
	again := &bed{T: t, rig: b.rig}
	again.Server, err = New(Options{Listen: address, Facts: testFacts(), Rig: b.rig, Log: quiet, Version: "test"})
	must(t, err)
	again.start()
	until(t, ctx, `document.documentElement.dataset.link === 'live' && document.querySelector('.word').textContent === 'unknown'`)
}

// TestSlowDaemonIsReached: a daemon that is 4 s late with the first byte of each stream is
// told of as lost, and is reached; it is asked for no more than two at a time.
func TestSlowDaemonIsReached(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	b := testBed(t, nil)
	var under, most atomic.Int64
	late := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/page/follow" {
			most.Store(max(most.Load(), under.Add(1)))
			defer under.Add(-1)
			select {
			case <-time.After(4 * time.Second):
			case <-r.Context().Done():
				return
			}
		}
		b.Handler().ServeHTTP(w, r)
	}))
	t.Cleanup(late.Close)
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(late.URL)))
	within(t, ctx, 40*time.Second, `(window.lost ||= document.documentElement.dataset.link === 'lost') && document.documentElement.dataset.link === 'live'`)
	next := hotState()
	b.rig.set(func(f *fakeRig) { f.state = next })
	b.ObserveState(next)
	until(t, ctx, `document.querySelector('.word').textContent === 'turbulent'`)
	if n := most.Load(); n > 3 { // one that was given up may still be under way here
		t.Errorf("%d streams were asked for at once", n)
	}
	b.endStreams()
}

// TestTimesAreTheRigs: the axis of a trend, as every time on the page, is in the
// rig's zone, 5.5 h east, and not in the reader's, 12 h or more.
func TestTimesAreTheRigs(t *testing.T) {
	t.Parallel()
	ctx := browser(t, emulated(emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Pacific/Auckland"}))
	zone, err := time.LoadLocation("Asia/Kolkata")
	must(t, err)
	b := testBed(t, func(o *Options) { o.Facts.Zone = zone })
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.URL())))
	until(t, ctx, `document.querySelectorAll('figure[data-quantity] .chart svg').length === 4`)
	away, err := chromedp.Run(ctx, chromedp.Evaluate[int](`new Date().getTimezoneOffset()`))
	must(t, err)
	if away > -12*60 {
		t.Fatalf("the browser is %d min west of Greenwich: the test shows nothing", away)
	}
	shown, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector('.chart svg').lastElementChild.textContent`))
	must(t, err)
	now := time.Now().In(zone)
	end, err := time.ParseInLocation("2006-01-02 15:04:05", now.Format("2006-01-02 ")+shown, zone)
	must(t, err)
	if apart := now.Sub(end).Abs(); apart > 5*time.Minute && apart < 24*time.Hour-5*time.Minute {
		t.Errorf("the trend ends at %s, at the rig it is %s", shown, now.Format("15:04:05"))
	}
}

// TestStrangerSignsIn: without an account the page shows no values but the
// form, and says why a token is not taken; with a token it shows the rig.
func TestStrangerSignsIn(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	b := testBed(t, func(o *Options) { o.Listen = "0.0.0.0:0" })
	_, port, err := net.SplitHostPort(b.Addr())
	must(t, err)
	must(t, chromedp.Do(ctx, chromedp.Navigate("http://"+net.JoinHostPort(outside(t), port)+"/")))
	until(t, ctx, `!document.querySelector('[data-part]') && document.getElementById('sign-in') !== null`)
	must(t, chromedp.Do(ctx, chromedp.SendKeys(`#token`, "WRONG\r")))
	until(t, ctx, `document.getElementById('answer').textContent.includes('not known here')`)
	must(t, chromedp.Do(ctx, chromedp.SetValue(`#token`, b.watch), chromedp.Submit(`#token`)))
	until(t, ctx, `document.documentElement.dataset.link === 'live' && document.documentElement.dataset.role === 'watch'`)
}

// TestPicturesOfThePage holds that nothing runs out of the window sideways, in
// each size and colour scheme; where FLOWRIG_PICTURES names a directory the
// pictures go there.
func TestPicturesOfThePage(t *testing.T) {
	t.Parallel()
	for _, scheme := range []string{"dark", "light"} {
		t.Run(scheme, func(t *testing.T) {
			t.Parallel()
			pictures(t, scheme)
		})
	}
}

func pictures(t *testing.T, scheme string) {
	ctx := browser(t, emulated(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}))
	b := testBed(t, func(o *Options) { o.OneTimeKey = "once" })
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.URL())))
	until(t, ctx, `document.documentElement.dataset.role === 'operate'`)
	until(t, ctx, `matchMedia('(prefers-color-scheme: `+scheme+`)').matches`)
	unsure := steadyState()
	unsure.Values.Put(quantity.Regime, float64(quantity.Transitional))
	for name, shown := range map[string]*fakeRig{
		"laminar": {state: steadyState()}, "alarm": {state: hotState()}, "bad": {state: badState()},
		"transitional": {state: unsure}, "hung": {dead: errFake},
	} {
		b.rig.set(func(f *fakeRig) { f.state, f.dead = shown.state, shown.dead })
		for _, width := range []int64{1280, 390, 1920} {
			picture(t, ctx, fmt.Sprintf("%s-%d-%s.png", name, width, scheme), width)
		}
	}
}

// heights of the windows by their widths: desk, phone, projector.
var heights = map[int64]int64{1280: 800, 390: 844, 1920: 1080}

func picture(t *testing.T, ctx context.Context, file string, width int64) {
	t.Helper()
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, heights[width]), chromedp.Reload()))
	until(t, ctx, `document.documentElement.dataset.link === 'live' && document.querySelectorAll('figure[data-quantity] .chart svg').length === 4`)
	over, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.documentElement.scrollWidth - innerWidth`))
	must(t, err)
	if over > 0 {
		t.Errorf("%s: %d px too wide", file, over)
	}
	directory := os.Getenv("FLOWRIG_PICTURES")
	if directory == "" {
		return
	}
	data, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	must(t, err)
	must(t, os.WriteFile(filepath.Join(directory, file), data, 0o644))
	if width == 390 {
		data, err = chromedp.Run(ctx, chromedp.FullScreenshot(100))
		must(t, err)
		must(t, os.WriteFile(filepath.Join(directory, "full-"+file), data, 0o644))
	}
}
