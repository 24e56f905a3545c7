package web

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// examiner is axe-core, which holds a page against WCAG 2.2. It comes from the npm
// registry; there is no copy of it here.
func examiner(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(os.Getenv("FLOWRIG_NODE_MODULES"), "axe-core", "axe.min.js"))
	daqtest.Require(t, "npm's package axe-core, in the directory that FLOWRIG_NODE_MODULES names,", err == nil)
	return string(data)
}

// faults are what the examiner finds. It is put into the page by the browser's own
// protocol: the page's policy lets in no script from elsewhere. Where it can hold fewer
// than some rules against the page, nothing was there to be examined.
func faults(t *testing.T, ctx context.Context, axe, within, rules string, least int) []string {
	t.Helper()
	if look[string](t, ctx, `typeof axe`) == "undefined" {
		look[any](t, ctx, axe+`; null`)
	}
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](fmt.Sprintf(`axe.run(%s, {runOnly: [%s], resultTypes: ['violations']}).then((r) => {
			const held = r.passes.length + r.violations.length;
			if (held < %d) throw new Error('only ' + held + ' rules were held against it');
			return r.violations.flatMap((v) => v.nodes.map((n) => v.id + ': ' + n.failureSummary.replaceAll('\n', ' ') + ': ' + n.html.slice(0, 200)));
		})`, within, rules, least), chromedp.EvalAwaitPromise))
	must(t, err)
	return found
}

const (
	levelAA  = `'wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'`
	contrast = `'color-contrast'`
	levelAAA = `'color-contrast-enhanced'` // 1.4.6: 7, and 4.5 where the text is large
	fromAfar = `{include: [['.alarm-place'], ['.regime'], ['.steady']]}`
)

// examined holds the page as it stands against levels A and AA, and what is read from
// afar against the contrast of level AAA, in both colour schemes; those differ in
// colours alone.
func examined(t *testing.T, ctx context.Context, axe, what, afar string) {
	t.Helper()
	for scheme, rules := range map[string]string{"light": levelAA, "dark": contrast} {
		must(t, chromedp.Do(ctx, inScheme(scheme)))
		until(t, ctx, `matchMedia('(prefers-color-scheme: `+scheme+`)').matches`)
		least := 1
		if rules == levelAA {
			least = 15
		}
		var found []string
		for range 5 { // on a machine that is too busy the connection may be lost for a moment, and the page is paler then
			if afar != "" {
				until(t, ctx, `document.documentElement.dataset.link === 'live'`)
			}
			if found = faults(t, ctx, axe, "document", rules, least); afar != "" {
				found = append(found, faults(t, ctx, axe, afar, levelAAA, 1)...)
			}
			if len(found) == 0 {
				break
			}
		}
		for _, fault := range found {
			t.Errorf("%s, %s: %s", what, scheme, fault)
		}
	}
}

func inScheme(scheme string) chromedp.Action[chromedp.Void] {
	return emulated(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

// openAll opens the parts of the page that stand shut.
const openAll = `(document.querySelectorAll('details:not(.who)').forEach((d) => { d.open = true; }), true)`

// crowdedState has every instrument that a rig may have, each uncertain for a reason, an
// experiment, an alarm that is shelved and one that is out of service; both hold the permit.
func crowdedState() *daq.State {
	s := running()
	for id, v := range map[quantity.ID]float64{quantity.HeaterOutlet: 63.2, quantity.Tank: 43.1, quantity.Ambient: 21.4, quantity.SupplyFlow: 5.8e-5,
		quantity.PressureDrop: 31, quantity.TubeTemperature: 41.7, quantity.TubeTemperatureFall: 0.6, quantity.GrashofReynoldsRatio: 12, quantity.DisturbedFraction: 0.02} {
		s.Values.Put(id, v)
	}
	s.Values.PutBool(quantity.SupplyOn, true)
	s.Values.PutBool(quantity.HeaterOn, true)
	s.Values.PutBool(quantity.HeatingPermitted, false)
	s.Instruments = []quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level, quantity.HeaterOutlet, quantity.Tank, quantity.Ambient,
		quantity.SupplyFlow, quantity.SupplyOn, quantity.HeaterOn, quantity.PressureDrop}
	for _, id := range s.Instruments {
		s.Quality[id] = daq.Quality{Grade: daq.Uncertain, Why: "the last good value is 1.2 s old, and the line was disturbed 14 times in the last minute"}
	}
	s.Alarms = hotState().Alarms
	s.Alarms[0].State, s.Alarms[0].Until, s.Alarms[0].Active = "shelved", s.Time.Add(3600e9), false
	s.Alarms[1].State, s.Alarms[1].Active = "out-of-service", false
	s.Tripped, s.Unwatched = hotState().Tripped, []string{"water-overheat"}
	return s
}

// TestAccessible: WCAG 2.2 AA, by axe-core, of the page in its states, at last with all
// its parts open, and of the hall view.
func TestAccessible(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	axe := examiner(t)
	hands := &fakeHands{now: daq.Simulator{Valve: 0.4, Opening: 0.3, Supply: 3.5e-3 / 60, Heater: 45, Scenario: "sweep", Speed: 1,
		Scenarios: []daq.Scenario{{Name: "sweep", About: "Four temperatures."}}}}
	ctx, b := desk(t, 1366, 768, "", func(o *Options) { o.Simulator, o.Facts.Plans = hands, []string{"four temperatures"} })
	until(t, ctx, `document.querySelectorAll('.chart svg').length >= 4 && document.querySelector('#results tbody tr') !== null && document.querySelector('#scenarios button') !== null`)
	for _, shown := range []struct {
		name  string
		state *daq.State
		seen  string
	}{
		{"in alarm", hotState(), `.band.high.open`}, {"without a thermometer", badState(), `.band.medium.open`},
		{"with everything", crowdedState(), `.label.uncertain`},
	} {
		b.become(shown.state)
		until(t, ctx, `document.querySelector('`+shown.seen+`') !== null`)
		if shown.name == "with everything" {
			look[bool](t, ctx, openAll)
			until(t, ctx, `document.querySelector('#journal tbody tr') !== null && document.querySelectorAll('#shelve-name option').length > 0`)
		}
		examined(t, ctx, axe, shown.name, fromAfar)
	}
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.base+"/hall")))
	for name, s := range map[string]*daq.State{"hall, calm": steadyState(), "hall, in alarm": hotState(), "hall, without a thermometer": badState()} {
		b.become(s)
		until(t, ctx, `document.querySelector('.chart svg text') !== null && document.querySelector('[data-word]').dataset.word === '`+signOf(s.Values.Band()).Word+`'`)
		examined(t, ctx, axe, name, "document")
	}
}

// TestAccessibleToStrangers: the same of the page that asks for a token, of the page of
// somebody who only reads, and of one whose connection is lost.
func TestAccessibleToStrangers(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	axe := examiner(t)
	ctx := browser(t)
	b := testBed(t, func(o *Options) { o.Listen = "0.0.0.0:0" })
	_, port, err := net.SplitHostPort(b.Addr())
	must(t, err)
	must(t, chromedp.Do(ctx, chromedp.Navigate("http://"+net.JoinHostPort(outside(t), port)+"/")))
	until(t, ctx, `document.getElementById('sign-in') !== null`)
	examined(t, ctx, axe, "closed", "")
	b = testBed(t, nil)
	must(t, chromedp.Do(ctx, chromedp.Navigate(b.base)))
	until(t, ctx, `document.querySelectorAll('.chart svg').length >= 4`)
	examined(t, ctx, axe, "read only", fromAfar)
	b.halt()
	until(t, ctx, `document.documentElement.dataset.link === 'lost'`)
	examined(t, ctx, axe, "connection lost", "")
}
