package web

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// hidden are the controls that cannot be reached by a hand: each is brought into view,
// and then must be what stands at its own middle.
const hidden = `[...document.querySelectorAll('a[href], button, input, select, summary')].filter((c) => c.checkVisibility({visibilityProperty: true}) && !c.matches('.skip, .unseen')).flatMap((c) => {
	c.scrollIntoView({block: 'center', behavior: 'instant'});
	const box = c.getClientRects()[0], at = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
	const reached = at && (c.contains(at) || at.contains(c) && at.matches('label, summary'));
	return reached ? [] : [c.outerHTML.slice(0, 80) + ' is behind ' + (at?.outerHTML ?? 'nothing').slice(0, 60)];
})`

// crossed are the sections of the page that stand on one another.
const crossed = `[...document.querySelectorAll('main > *')].map((e) => ({e, b: e.getBoundingClientRect()})).filter(({b}) => b.width > 0 && b.height > 0)
	.flatMap(({e, b}, i, all) => all.slice(i + 1).filter(({b: o}) => Math.min(b.right, o.right) - Math.max(b.left, o.left) > 1 && Math.min(b.bottom, o.bottom) - Math.max(b.top, o.top) > 1)
	.map(({e: o}) => e.className + ' and ' + o.className))`

// TestZoomedTwice: WCAG 2.2, 1.4.4: at 200 % on a desk of 1366 × 768 nothing runs out of
// the window sideways, no section stands on another, and every control can be reached.
func TestZoomedTwice(t *testing.T) {
	t.Parallel()
	hands := &fakeHands{now: daq.Simulator{Scenarios: []daq.Scenario{{Name: "sweep", About: "Four temperatures."}}}}
	ctx, b := desk(t, 1366, 768, "", func(o *Options) { o.Simulator, o.Facts.Plans = hands, []string{"four temperatures"} })
	must(t, chromedp.Do(ctx, chromedp.EmulateViewport(1366/2, 768/2, chromedp.EmulateScale(2))))
	for seen, s := range map[string]*daq.State{`.band.high.open`: hotState(), `.label.uncertain`: crowdedState()} {
		b.become(s)
		until(t, ctx, `document.querySelector('`+seen+`') !== null`)
		look[bool](t, ctx, openAll)
		if over := look[int](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s: %d px too wide", seen, over)
		}
		if list := look[[]string](t, ctx, hidden); len(list) > 0 {
			t.Errorf("%s: %q", seen, list)
		}
		if list := look[[]string](t, ctx, crossed); len(list) > 0 {
			t.Errorf("%s: on one another: %q", seen, list)
		}
	}
}

// moving is what of the page would move by itself.
const moving = `[...document.querySelectorAll('*')].filter((e) => {
	const s = getComputedStyle(e);
	return s.animationName !== 'none' || s.transitionDuration !== '0s' || s.scrollBehavior !== 'auto';
}).map((e) => e.tagName + '.' + e.className)`

// TestReducedMotion: nothing moves by itself for those who ask for that, and for others
// no more than the line that answers them.
func TestReducedMotion(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 1366, 768, "", func(o *Options) { o.Simulator = &fakeHands{} })
	b.become(hotState())
	until(t, ctx, `document.querySelector('.band.high.open') !== null`)
	for wish, want := range map[string]string{"reduce": "", "no-preference": "P.answer"} {
		must(t, chromedp.Do(ctx, emulated(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: wish}}})))
		until(t, ctx, `matchMedia('(prefers-reduced-motion: `+wish+`)').matches`)
		if got := strings.Join(look[[]string](t, ctx, moving), " "); got != want {
			t.Errorf("%s: %q moves, want %q", wish, got, want)
		}
	}
}

// coloured is what in a part of the page a style sheet may colour by.
var coloured = regexp.MustCompile(` (class|id|data-[a-z]+)="[^"]*"`)

// TestToldApartWithoutColour: what is left of a part without all that a style could
// colour by is another one in each state.
func TestToldApartWithoutColour(t *testing.T) {
	b := testBed(t, nil)
	show := func(part string, s *daq.State) string {
		b.rig.set(func(f *fakeRig) { f.state = s })
		return coloured.ReplaceAllString(b.snapshot(0).parts[part], "")
	}
	seen := map[string]string{}
	differs := func(part, name string, s *daq.State) {
		text := part + show(part, s)
		if other, same := seen[text]; same {
			t.Errorf("%s: %s looks like %s but for colours: %s", part, name, other, text)
		}
		seen[text] = name
	}
	for _, grade := range []daq.Grade{daq.Good, daq.Uncertain, daq.Bad} {
		s := steadyState()
		s.Quality[quantity.Flow] = daq.Quality{Grade: grade}
		differs("bench", kinds[grade], s)
		differs("readings", kinds[grade], s)
	}
	for _, band := range []quantity.Band{quantity.Unknown, quantity.NoFlow, quantity.Laminar, quantity.Transitional, quantity.Turbulent} {
		s := steadyState()
		s.Values.Put(quantity.Regime, float64(band))
		differs("thread", band.String(), s)
		differs("word", band.String(), s)
	}
	for _, priority := range []string{"high", "medium", "low"} {
		for state := range meanings {
			if state == "suppressed" || state == "out-of-service" {
				continue // the band names them, and the list says which of the two
			}
			s := steadyState()
			s.Alarms = []daq.AlarmStatus{{Name: "warm", State: state, Priority: priority, Action: "Cool it."}}
			differs("band", priority+" "+state, s)
			differs("alarms", priority+" "+state, s)
		}
	}
	for _, state := range []string{"shelved", "suppressed", "out-of-service"} {
		s := steadyState()
		s.Alarms = []daq.AlarmStatus{{Name: "warm", State: state, Priority: "high"}}
		differs("alarms", state, s)
	}
	differs("band", "calm", steadyState())
	for name, change := range map[string]func(*daq.State){
		"not permitted": func(s *daq.State) { s.Values.PutBool(quantity.HeatingPermitted, false) },
		"given":         func(s *daq.State) { s.Given = true; s.Values.PutBool(quantity.HeatingPermitted, false) },
		"permitted":     func(s *daq.State) { s.Given = true; s.Values.PutBool(quantity.HeatingPermitted, true) },
		"held":          func(s *daq.State) { s.Tripped = []string{"warm"}; s.Values.PutBool(quantity.HeatingPermitted, false) },
	} {
		s := steadyState()
		change(s)
		differs("permit", name, s)
	}
	for _, steady := range []bool{true, false} {
		s := steadyState()
		s.Values.PutBool(quantity.Steady, steady)
		differs("steady", map[bool]string{true: "steady", false: "settling"}[steady], s)
	}
}

// youngHistory is a recording that began a while before whatever is asked for ends.
type youngHistory struct {
	fakeHistory
	age time.Duration
}

func (h youngHistory) Trend(ctx context.Context, id quantity.ID, from, to time.Time, n int) ([]daq.Bucket, error) {
	list, err := h.fakeHistory.Trend(ctx, id, from, to, n)
	for i := range list {
		if list[i].Time.Before(to.Add(-h.age)) {
			list[i] = daq.Bucket{Time: list[i].Time}
		}
	}
	return list, err
}

// TestTrendThatHasJustBegun says so in the place of the picture, and begins by filling
// more than half of it.
func TestTrendThatHasJustBegun(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	const young = "The recording has just begun: the trend begins within some seconds."
	for age, want := range map[time.Duration]string{0: young, 4 * time.Second: young, 20 * time.Second: " to "} {
		b := testBed(t, func(o *Options) { o.History = youngHistory{age: age} })
		must(t, chromedp.Do(ctx, chromedp.Navigate(b.base)))
		until(t, ctx, `[...document.querySelectorAll('figure[data-quantity]')].every((f) => f.textContent.includes('`+want+`'))`)
		const filled = `((mean) => mean === null ? 0 : mean.getBoundingClientRect().width / mean.closest('.chart').clientWidth)(document.querySelector('.chart .mean'))`
		if part := look[float64](t, ctx, filled); (part > 0.5) != (want != young) {
			t.Errorf("after %v: the trend fills %.2f of its place", age, part)
		}
	}
}

// TestAlarmOutOfServiceByHand: a person takes an alarm out of service on the page and
// returns it; meanwhile the permit is offered without it, by name.
func TestAlarmOutOfServiceByHand(t *testing.T) {
	t.Parallel()
	r := newStepped(t)
	r.measure(40, 255)
	ctx, _ := desk(t, 1366, 768, "", func(o *Options) {
		o.Rig, o.Facts.Alarms = r, []config.Alarm{{Name: "head-lost", Priority: "high", Trip: true}, {Name: "warm", Priority: "high", Trip: true}}
	})
	look[bool](t, ctx, `(window.confirm = (text) => { window.asked = text; return true; }, true)`)
	must(t, chromedp.Do(ctx, chromedp.Click(`.journal summary`)))
	until(t, ctx, `document.querySelectorAll('#remove-name option').length === 2`)
	must(t, chromedp.Do(ctx, chromedp.SetValue(`#remove-name`, "warm"), chromedp.SendKeys(`#remove-reason`, "its probe is away for calibration\r")))
	until(t, ctx, `document.getElementById('permit-give')?.dataset.without === 'warm' && document.getElementById('list-return-to-service-warm') !== null`)
	if asked := look[string](t, ctx, `asked`); !strings.Contains(asked, "Take warm out of service?") || !strings.Contains(asked, "a permit that is given drops now") {
		t.Errorf("asked %q", asked)
	}
	if says := look[string](t, ctx, `document.querySelector('#remove p').textContent`); !strings.Contains(says, "unless the request for it names that alarm") {
		t.Errorf("says %q", says)
	}
	must(t, chromedp.Do(ctx, chromedp.Click(`#list-return-to-service-warm`)))
	until(t, ctx, `document.getElementById('permit-give') !== null && document.getElementById('permit-give').dataset.without === undefined && document.getElementById('list-return-to-service-warm') === null`)
}

// TestAPlaceIsKeptForAlarms on a phone and in the hall view too: what stands below it is
// where it was.
func TestAPlaceIsKeptForAlarms(t *testing.T) {
	t.Parallel()
	ctx, b := desk(t, 390, 844, "", nil)
	alarmed := hotState()
	alarmed.Values.Put(quantity.Regime, float64(quantity.Laminar))
	alarmed.Alarms = alarmed.Alarms[1:]
	alarmed.Alarms[0].Action = "Switch the heater off at its own switch; once heater and tube have cooled, open the water supply slowly until water runs over the lip, and repeat the readings taken meanwhile."
	for _, view := range []struct {
		path, alarm   string
		width, height int64
	}{{"/", `.band.high.open`, 390, 844}, {"/hall", `.next .alarmed`, 1366, 768}} {
		b.become(steadyState())
		must(t, chromedp.Do(ctx, chromedp.EmulateViewport(view.width, view.height), chromedp.Navigate(b.base+view.path)))
		until(t, ctx, `document.documentElement.dataset.link === 'live' && document.querySelector('.chart svg') !== null`)
		const places = `['.word', '#re', '.sure', '.steady', '.permit-place', '.record', '.ruler svg', '.chart'].map((q) => document.querySelector(q)?.getBoundingClientRect().top + scrollY).join(' ')`
		calm := look[string](t, ctx, places)
		b.become(alarmed)
		until(t, ctx, `document.querySelector('`+view.alarm+`') !== null`)
		if now := look[string](t, ctx, places); now != calm {
			t.Errorf("%s: what stands below it moves from %s to %s", view.path, calm, now)
		}
	}
}
