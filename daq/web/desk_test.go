package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"flowrigd/daq"
	"flowrigd/dashboards"
)

// desk opens a page of a rig in a window, as an operator.
func desk(t *testing.T, width, height int64, path string, change func(*Options)) (context.Context, *bed) {
	t.Helper()
	ctx := browser(t)
	b := testBed(t, func(o *Options) {
		o.OneTimeKey = "once"
		o.Facts.Permit = true
		if change != nil {
			change(o)
		}
	})
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, height), chromedp.Navigate(b.URL())))
	until(t, ctx, `document.documentElement.dataset.link === 'live' && document.documentElement.dataset.role === 'operate'`)
	if path != "" {
		must(t, chromedp.Do(ctx, chromedp.Navigate(b.base+path)))
		until(t, ctx, `document.documentElement.dataset.link === 'live'`)
	}
	return ctx, b
}

// become gives the page another state of the rig.
func (b *bed) become(s *daq.State) {
	b.rig.set(func(f *fakeRig) { f.state = s })
	b.ObserveState(s)
}

// look evaluates an expression in the page.
func look[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	must(t, err)
	return v
}

// fold lists what of the five questions' answers ends below the window.
const fold = `['.word', '#re', '.ruler .bands', '.steady p', '.advice', '.alarm-place', '.permit-place', '.bench', '.trends .chart'].filter((q) => {
	const box = document.querySelector(q).getBoundingClientRect();
	return !(box.height > 0 && box.top >= 0 && box.bottom <= innerHeight + 0.5);
}).join(' ')`

// TestNothingMovesWhenAnAlarmComes: at a desk of 1366 × 768 all that answers the five
// questions stands above the fold, calm and in alarm, and nothing is shifted (Layout
// Instability, WICG: the sum of the entries is the cumulative layout shift).
func TestNothingMovesWhenAnAlarmComes(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", nil)
	until(t, ctx, `document.querySelectorAll('.chart svg').length >= 4`)
	if below := look[string](t, ctx, fold); below != "" {
		t.Errorf("calm: below the fold: %s", below)
	}
	look[bool](t, ctx, `(() => { window.shifts = []; new PerformanceObserver((l) => { for (const e of l.getEntries()) shifts.push(e.value + ' ' + e.sources.map((s) => (s.node?.outerHTML ?? s.node?.textContent ?? '').slice(0, 60))); }).observe({type: 'layout-shift'}); return true; })()`)
	warned := hotState()
	warned.Warnings = []string{"the tube is shorter than the entrance length", "the room is warm"}
	b.become(warned)
	until(t, ctx, `document.querySelector('.band.high.open') !== null && document.querySelector('.notice.caution') !== null`)
	if below := look[string](t, ctx, fold); below != "" {
		t.Errorf("in alarm: below the fold: %s", below)
	}
	long := hotState()
	long.Alarms[1].Action = strings.Repeat("Switch the heater off at its own switch. ", 5) // longer than any that is built in
	b.become(long)
	until(t, ctx, `document.querySelector('.band .todo').textContent.length > 200`)
	if cut := look[int](t, ctx, `((told) => told.scrollHeight - told.clientHeight)(document.querySelector('.band .told'))`); cut > 0 {
		t.Errorf("the last %d px of an instruction are cut", cut)
	}
	b.become(badState())
	until(t, ctx, `document.querySelector('.band.medium.open') !== null`)
	b.become(steadyState())
	until(t, ctx, `document.querySelector('.band.calm') !== null`)
	if shifts := look[[]string](t, ctx, `shifts`); len(shifts) > 0 {
		t.Errorf("shifted: %q", shifts)
	}
	b.become(running())
	until(t, ctx, `document.querySelector('.progress') !== null`)
	if below := look[string](t, ctx, fold); below != "" {
		t.Errorf("in an experiment: below the fold: %s", below)
	}
	if shifts := look[[]string](t, ctx, `shifts`); len(shifts) > 0 {
		t.Errorf("by an experiment: %q", shifts)
	}
	// What stands in the band is not said a second time above the fold.
	b.become(hotState())
	until(t, ctx, `document.querySelector('.band.high') !== null`)
	if twice := look[bool](t, ctx, `document.querySelector('.advice').textContent.includes(document.querySelector('.band .todo').textContent.replace('Do: ', ''))`); twice {
		t.Error("the same advice stands in the band and below it")
	}
}

// TestAlarmByKeyboard: an alarm is acknowledged by the keyboard alone, and the focus
// stays in its place.
func TestAlarmByKeyboard(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", nil)
	b.become(hotState())
	until(t, ctx, `document.querySelector('.band .act') !== null`)
	must(t, chromedp.Do(ctx, chromedp.KeyEvent("a")))
	until(t, ctx, `document.activeElement.id === 'acknowledge-water-overheat'`)
	must(t, chromedp.Do(ctx, chromedp.KeyEvent("\r")))
	until(t, ctx, `document.getElementById('answer').textContent.includes('acknowledge water-overheat')`)
	if got := b.rig.commands(); len(got) != 1 || got[0].Verb() != daq.Acknowledge || got[0].Alarm() != "water-overheat" {
		t.Fatalf("commands %+v", got)
	}
	known := hotState()
	known.Alarms[1].State, known.Alarms[1].Acknowledged = "acknowledged", true
	b.become(known)
	until(t, ctx, `document.querySelector('.band.high:not(.open)') !== null`)
	if !look[bool](t, ctx, `document.activeElement.closest('.alarm-place') !== null`) {
		t.Errorf("the focus went to %s", look[string](t, ctx, `document.activeElement.outerHTML.slice(0, 120)`))
	}
	if look[bool](t, ctx, `document.querySelector('[data-loud]') !== null`) {
		t.Error("an acknowledged alarm is still to be heard")
	}
}

// TestHallIsReadFromAfar: on a screen 1.2 m wide with 1920 px, from 3 m, capitals of 20
// arc minutes are 3 m · tan(20′) = 17.5 mm = 28 px high (ISO 9241-303 recommends 20′ to
// 22′ for what is read at length; from memory).
func TestHallIsReadFromAfar(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1920, 1080, "/hall", nil)
	wordy := hotState()
	wordy.Alarms[1].Action = strings.Repeat("W", 500)
	for name, s := range map[string]*daq.State{"calm": steadyState(), "alarm": hotState(), "bad": badState(), "wordy": wordy} {
		b.become(s)
		until(t, ctx, `document.querySelector('.chart svg text') !== null && document.querySelector('[data-word]').dataset.word === '`+signOf(s.Values.Band()).Word+`'`)
		if name == "alarm" || name == "wordy" {
			until(t, ctx, `document.querySelector('.next').textContent.includes('`+s.Alarms[1].Action[:9]+`')`)
		}
		small := look[[]string](t, ctx, `(() => {
			const pen = document.createElement('canvas').getContext('2d'), list = [];
			const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
			for (let n; (n = walk.nextNode());) {
				const at = n.parentElement, style = getComputedStyle(at);
				const box = at.getBoundingClientRect();
				if (!n.textContent.trim() || at.closest('.unseen, .skip, script, style') || box.width === 0 || style.display === 'none') continue;
				pen.font = style.fontWeight + ' ' + style.fontSize + ' ' + style.fontFamily;
				const high = pen.measureText('H').actualBoundingBoxAscent;
				if (high < 28) list.push(high.toFixed(1) + ' px: ' + n.textContent.trim().slice(0, 40));
				if (box.bottom > innerHeight + 1 || box.right > innerWidth + 1) list.push('outside: ' + n.textContent.trim().slice(0, 40));
			}
			const sides = ['.word', '.re', '.sure', '.next p', '.trends'].map((q) => document.querySelector(q).getBoundingClientRect());
			for (let i = 1; i < sides.length; i++) if (sides[i].top < sides[i - 1].bottom - 1) list.push('part ' + i + ' covers the one above');
			return list;
		})()`)
		if len(small) > 0 {
			t.Errorf("%s: %q", name, small)
		}
	}
	if name := look[string](t, ctx, `(document.body.dispatchEvent(new KeyboardEvent('keydown', {key: 'h', bubbles: true})), 'gone')`); name != "gone" {
		t.Error(name)
	}
	until(t, ctx, `location.pathname === '/' && document.querySelector('svg.bench') !== null`)
}

// scribbled is a recording with one note of a person who writes whatever he likes.
type scribbled struct {
	fakeHistory
	text string
}

func (h scribbled) Results(_ context.Context, what string, _ int64, _ int) ([]daq.Message, error) {
	if what != "notes" {
		return nil, nil
	}
	e := daq.Event{Note: &daq.Note{Time: time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC), Kind: "other", Who: "ada", Text: h.text}}
	return []daq.Message{e.Message("r", 7)}, nil
}

// longNamed is a rig whose names are as long as a configuration may have them.
type longNamed struct{ *fakeRig }

func (r longNamed) Identity() daq.Identity {
	return daq.Identity{Site: strings.Repeat("M", 100), Rig: "<b>" + strings.Repeat("W", 97), Recording: "5a9c", Sequence: 7}
}

// TestWhateverIsWrittenStaysText: markup, emoji and 10,000 characters are shown as text,
// cut, and push nothing out of the window.
func TestWhateverIsWrittenStaysText(t *testing.T) {
	t.Parallel()
	wild := `<img src=x onerror="document.title='owned'"> 🧪👩‍🔬 ` + strings.Repeat("x", 10000)
	ctx, b := desk(t, 1366, 768, "", func(o *Options) {
		o.History, o.Rig = scribbled{text: wild}, longNamed{o.Rig.(*fakeRig)}
	})
	s := badState()
	for _, id := range s.Instruments {
		s.Quality[id] = daq.Quality{Grade: daq.Bad, Why: wild}
	}
	s.Warnings = []string{wild}
	s.Alarms[0].Cause, s.Alarms[0].Action = wild, wild
	b.become(s)
	until(t, ctx, `document.querySelector('#results tbody tr') !== null`)
	until(t, ctx, `(document.querySelector('.band .todo')?.textContent ?? '').includes('🧪')`)
	if n := look[int](t, ctx, `document.querySelectorAll('img').length`); n > 0 {
		t.Errorf("%d elements were made of it", n)
	}
	if text := look[string](t, ctx, `document.querySelector('#results tbody td:nth-child(3)').textContent`); !strings.HasPrefix(text, "<img src=x") || !strings.Contains(text, "🧪👩‍🔬") || len([]rune(text)) > 210 {
		t.Errorf("%d characters: %.300s", len([]rune(text)), text)
	}
	for _, width := range []int64{1366, 390} {
		must(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 768)))
		if over := look[int](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%d px too wide at %d", over, width)
		}
		if from := look[int](t, ctx, `Math.round(document.querySelector('.word').getBoundingClientRect().top)`); from > 600 {
			t.Errorf("the regime begins at %d px at a width of %d", from, width)
		}
	}
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(1366, 768)))
	if below := look[string](t, ctx, fold); below != "" {
		t.Errorf("below the fold: %s", below)
	}
}

// TestTwoOperatorsAcknowledgeAtOnce: one of them is told that it is done, the other who
// did it before, over HTTP and in a sentence on the page, and nothing else happens.
func TestTwoOperatorsAcknowledgeAtOnce(t *testing.T) {
	t.Parallel()
	since := time.Date(2026, 3, 4, 8, 0, 0, 0, time.UTC)
	r := newStepped(t, daq.SavedAlarm{Name: "water-overheat", State: "latched-unacknowledged", Tripped: true, Since: since},
		daq.SavedAlarm{Name: "warm", State: "unacknowledged", Since: since})
	b := steppedBed(t, r)
	names := []string{"ada", "bea"}
	tokens := []string{b.operate, added(t, b.file, "bea", RoleOperate)}
	acknowledge := func(alarm string, i int) (int, string) {
		status, _, text := b.ask("POST", "/api/alarms/"+alarm+"/acknowledge", tokens[i], "{}")
		return status, text
	}
	var both sync.WaitGroup
	status, texts := make([]int, 2), make([]string, 2)
	for i := range status {
		both.Go(func() { status[i], texts[i] = acknowledge("water-overheat", i) })
	}
	both.Wait()
	won := slices.Index(status, 200)
	if won < 0 || status[1-won] != 409 || !strings.Contains(texts[1-won], "it is acknowledged already, by "+names[won]) {
		t.Errorf("status %v: %q", status, texts)
	}
	if got := stateOf("water-overheat", r.Last().Alarms); got != "latched-acknowledged" {
		t.Errorf("it is %s", got)
	}
	// A page that has not heard of it yet still shows the button.
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.base+"/"), chromedp.SetValue(`#token`, tokens[1]), chromedp.Submit(`#token`)))
	until(t, ctx, `document.documentElement.dataset.role === 'operate' && document.getElementById('acknowledge-warm') !== null`)
	late := look[bool](t, ctx, `(window.button = document.getElementById('acknowledge-warm').cloneNode(true), document.querySelector('main').append(button), true)`)
	if code, text := acknowledge("warm", 0); code != 200 || !late {
		t.Fatalf("%d %s", code, text)
	}
	// A click before the page's script has begun does nothing.
	until(t, ctx, `document.getElementById('answer').textContent === 'Not done: acknowledge warm: refused: it is acknowledged already, by ada.' || (button.ariaDisabled !== 'true' && button.click(), false)`)
}

// TestNothingComesFromElsewhere: every request that the page makes goes to the daemon.
func TestNothingComesFromElsewhere(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", nil)
	until(t, ctx, `document.querySelectorAll('.chart svg').length >= 4`)
	list := look[[]string](t, ctx, `performance.getEntriesByType('resource').map((e) => e.name)`)
	for _, name := range list {
		if !strings.HasPrefix(name, b.base+"/") {
			t.Errorf("asked for %s", name)
		}
	}
	if len(list) < 8 {
		t.Errorf("only %q were seen", list)
	}
	if strings.Contains(policy, "unsafe") {
		t.Errorf("policy %s", policy)
	}
}

// TestPageIsSmall: the page and all that it loads, packed, stay under 150 kB.
func TestPageIsSmall(t *testing.T) {
	t.Parallel()
	b := testBed(t, nil)
	_, _, page := b.ask("GET", "/", "", "")
	all := [][]byte{[]byte(page)}
	must(t, fs.WalkDir(dashboards.Files, "assets", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := dashboards.Files.ReadFile(path)
		all = append(all, data)
		return err
	}))
	size := 0
	for _, data := range all {
		var packed bytes.Buffer
		w := gzip.NewWriter(&packed)
		_, err := w.Write(data)
		must(t, err)
		must(t, w.Close())
		size += packed.Len()
	}
	if size > 150_000 || len(all) < 6 {
		t.Errorf("%d files are %d bytes", len(all), size)
	}
	t.Logf("%d files are %d bytes", len(all), size)
}
