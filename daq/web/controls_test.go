package web

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// hand is a person at the page of a rig that holds what was asked of it.
type hand struct {
	*bed
	ctx   context.Context
	sim   *fakeHands
	asked int // commands so far
}

func (h *hand) do(actions ...chromedp.Action[chromedp.Void]) {
	h.Helper()
	must(h, chromedp.Do(h.ctx, actions...))
}
func (h *hand) click(query string)     { h.Helper(); h.do(chromedp.Click(query)) }
func (h *hand) sees(expression string) { h.Helper(); until(h.T, h.ctx, expression) }

// asks waits for the one command more that the engine gets.
func (h *hand) asks(want string) {
	h.Helper()
	h.asked++
	for deadline := time.Now().Add(20 * time.Second); len(h.rig.commands()) < h.asked; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			h.Fatalf("no command comes; want %s; the page says %q", want, look[string](h.T, h.ctx, `document.getElementById('answer').textContent`))
		}
	}
	list := h.rig.commands()
	c := list[h.asked-1]
	if got := fmt.Sprintf("%s %s %+v", c.Verb(), c.Alarm(), c.Ask); len(list) != h.asked || !strings.Contains(got, want) {
		h.Errorf("%d commands, the last asks %s; want %s", len(list), got, want)
	}
}

// sets waits for what the simulated rig is told.
func (h *hand) sets(want string) {
	h.Helper()
	var got []byte
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(string(got), want); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			h.Fatalf("the simulated rig was told %s; want %s", got, want)
		}
		h.sim.mu.Lock()
		done := slices.Clone(h.sim.done)
		h.sim.mu.Unlock()
		if len(done) > 0 {
			var err error
			got, err = json.Marshal(done[len(done)-1])
			must(h, err)
		}
	}
}

// choose sets a field as a person does who then leaves it.
func (h *hand) choose(query, value string) {
	h.Helper()
	look[bool](h.T, h.ctx, fmt.Sprintf(`((e) => { if (e.type === 'checkbox') e.checked = !e.checked; else e.value = %q; e.dispatchEvent(new Event('change', {bubbles: true})); return true; })(document.querySelector(%q))`, value, query))
}

// alarmed is a calm rig with one alarm in a state.
func alarmed(state string, tripped bool) *daq.State {
	s := steadyState()
	s.Values.PutBool(quantity.HeatingPermitted, false)
	s.Alarms = []daq.AlarmStatus{{Name: "water-overheat", State: state, Priority: "high", Since: s.Time, Trips: true, Tripped: tripped,
		Cause: "The water is above its limit.", Consequence: "It scalds.", Action: "Switch the heater off."}}
	if tripped {
		s.Tripped = []string{"water-overheat"}
	}
	return s
}

// permitted is a rig that may heat.
func permitted() *daq.State {
	s := steadyState()
	s.Values.PutBool(quantity.HeatingPermitted, true)
	s.Given = true
	return s
}

// control is one kind of control of the page, and what a person does with it.
type control struct {
	query string // a selector that all of the kind match
	drive func(h *hand)
}

func opens(query string) func(*hand) {
	return func(h *hand) {
		h.click(query + " > summary")
		h.sees(`document.querySelector('` + query + `').open`)
	}
}

// alarmButton stands in the band, in the list or beside the permit.
func alarmed1(query, state string, tripped bool, want string) control {
	return control{query, func(h *hand) {
		h.become(alarmed(state, tripped))
		h.sees(`document.querySelector('` + query + `') !== null`)
		h.click(query)
		h.asks(want)
	}}
}

func span(query, wants string) control {
	return control{query, func(h *hand) {
		h.click(query)
		h.sees(`document.querySelector('` + query + `').getAttribute('aria-pressed') === 'true' && (` + wants + `)`)
	}}
}

const firstChart = `figure[data-quantity] .chart`

// begun is a page whose scripts have all begun.
const begun = `document.querySelector('#results tbody tr') !== null && document.querySelector('.chart svg .mean') !== null && document.getElementById('hand-supply').value !== '' && document.documentElement.dataset.role === 'operate'`

// controls are all that the page has, in an order in which one person can use them.
var controls = []control{
	{`a.skip`, func(h *hand) {
		h.sees(`document.getElementById(document.querySelector('a.skip').hash.slice(1)) !== null`)
	}},
	{`nav a[href^="#"]`, func(h *hand) {
		h.sees(`[...document.querySelectorAll('nav a[href^="#"]')].every((a) => document.querySelector(a.hash) !== null)`)
	}},
	{`#report`, func(h *hand) {
		h.sees(`document.getElementById('report').pathname === '/api/report'`)
		h.answers(200, "GET", "/api/report", h.operate, "")
	}},
	{`#lesson-report`, func(h *hand) { h.sees(`document.getElementById('lesson-report').pathname === '/api/report'`) }},
	{`#sound`, func(h *hand) {
		h.click(`#sound`)
		h.sees(`document.getElementById('sound').textContent === 'Sound on'`)
		h.become(hotState())
		h.sees(`Number(document.getElementById('sound').dataset.beeps) > 0`)
		h.click(`#sound`)
		h.sees(`document.getElementById('sound').getAttribute('aria-pressed') === 'false'`)
	}},
	{`.band a[href="#alarms"], .count a[href="#remarks"], .progress a[href="#plan-now"]`, func(h *hand) {
		h.become(running())
		h.sees(`document.querySelector('.progress a[href="#plan-now"]') !== null && document.getElementById('plan-now') !== null && document.getElementById('remarks') !== null`)
	}},
	{`button[data-seen]`, func(h *hand) {
		for i, seen := range []string{"laminar", "transitional", "turbulent"} {
			h.do(chromedp.KeyEvent(strconv.Itoa(i + 1)))
			h.asks("Seen:" + seen)
			h.click(`button[data-seen="` + seen + `"]`)
			h.asks("Seen:" + seen)
		}
	}},
	{`#capture`, func(h *hand) {
		h.click(`#capture`)
		h.asks("capture")
		h.do(chromedp.KeyEvent("c"))
		h.asks("capture")
	}},
	span(`button[data-minutes="1"]`, `performance.getEntriesByType('resource').some((e) => e.name.includes('/api/trend'))`),
	span(`button[data-minutes="60"]`, `true`), span(`button[data-minutes="720"]`, `true`), span(`button[data-minutes="0"]`, `true`), span(`button[data-minutes="10"]`, `document.querySelector('.chart svg .mean') !== null`),
	{firstChart, func(h *hand) { // read by the pointer and by the arrow keys, and looked at closer
		h.sees(`document.querySelector('` + firstChart + ` svg .mean') !== null && document.querySelector('` + firstChart + ` svg text.mark') !== null`)
		look[bool](h.T, h.ctx, `(document.querySelector('`+firstChart+`').scrollIntoView({block: 'center'}), window.pointer = (kind, part) => {
			const chart = document.querySelector('`+firstChart+`'), box = chart.getBoundingClientRect();
			chart.dispatchEvent(new PointerEvent(kind, {clientX: box.left + box.width * part, clientY: box.top + 20, bubbles: true}));
		}, true)`)
		h.sees(`(pointer('pointermove', 0.5), /: .* to /.test(document.querySelector('figure .range').textContent) && document.querySelector('figure .cursor') !== null)`)
		look[bool](h.T, h.ctx, `(pointer('pointerleave', 0.5), document.querySelector('`+firstChart+`').focus(), true)`)
		h.do(chromedp.KeyEvent("\u0302")) // ArrowLeft
		h.sees(`/: .* to /.test(document.querySelector('figure .range').textContent)`)
		look[bool](h.T, h.ctx, `(pointer('pointerdown', 0.4), pointer('pointermove', 0.6), document.querySelector('figure .chosen') !== null && (pointer('pointerup', 0.6), true))`)
		h.sees(`!document.getElementById('to-now').hidden && document.querySelector('figure .chosen') === null`)
	}},
	{`#to-now`, func(h *hand) {
		h.click(`#to-now`)
		h.sees(`document.getElementById('to-now').hidden`)
	}},
	{`#plan, #begin button`, func(h *hand) {
		h.choose(`#plan`, "four temperatures")
		h.click(`#begin button`)
		h.asks("Plan:four temperatures")
	}},
	{`#stop-experiment`, func(h *hand) {
		h.become(running())
		h.sees(`document.getElementById('stop-experiment') !== null`)
		h.click(`#stop-experiment`)
		h.asks("Experiment:e1")
	}},
	{`#still`, func(h *hand) { h.click(`#still`); h.asks("still") }},
	{`#results button.act`, func(h *hand) {
		h.sees(`document.getElementById('strike-observations-7') !== null`)
		h.click(`#strike-observations-7`)
		h.asks("Of:observation Struck:7 Reason:the wrong tube")
	}},
	{`#clock-start, #clock-stop`, func(h *hand) {
		h.click(`#clock-start`)
		h.sees(`document.activeElement.id === 'clock-stop' && document.getElementById('clock-time').value > '0.0 s'`)
		h.click(`#clock-stop`)
		h.sees(`document.activeElement.id === 'volume'`)
	}},
	{`#collection > button, #volume`, func(h *hand) {
		h.do(chromedp.SendKeys(`#volume`, "200 mL"))
		h.click(`#collection > button`)
		h.asks("collect")
	}},
	{`#note > button, #note-kind, #note-text`, func(h *hand) {
		for _, kind := range []string{"valve", "inlet", "air", "other"} {
			h.choose(`#note-kind`, kind)
			h.do(chromedp.SendKeys(`#note-text`, "1 turn more, c")) // what is typed into a field is no key
			h.click(`#note > button`)
			h.asks("Kind:" + kind + " Text:1 turn more, c")
			h.sees(`document.getElementById('note-text').value === ''`)
		}
	}},
	{`details.journal > summary`, opens(`details.journal`)},
	{`#shelve button, #shelve select, #shelve input`, func(h *hand) {
		h.sees(`document.querySelectorAll('#shelve-name option').length === 3`)
		h.choose(`#shelve-name`, "head-lost")
		h.do(chromedp.SetValue(`#shelve-for`, "10 min"), chromedp.SetValue(`#shelve-reason`, "a trial"))
		h.click(`#shelve button`)
		h.asks("shelve head-lost &{Alarm:head-lost For:10m0s Reason:a trial")
		h.sees(`document.getElementById('shelve-reason').value === ''`)
		h.do(chromedp.SendKeys(`#shelve-reason`, "another\r"))
		h.asks("For:30m0s Reason:another")
	}},
	{`#remove button, #remove select, #remove input`, func(h *hand) {
		h.sees(`document.querySelectorAll('#remove-name option').length === 3`)
		h.choose(`#remove-name`, "head-lost")
		h.do(chromedp.SetValue(`#remove-reason`, "the sensor is away"))
		h.click(`#remove button`)
		h.asks("out-of-service head-lost &{Do:out-of-service Alarm:head-lost Reason:the sensor is away")
		h.sees(`document.getElementById('remove-reason').value === ''`)
	}},
	alarmed1(`.band button[data-verb="acknowledge"]`, "unacknowledged", false, "acknowledge water-overheat"),
	alarmed1(`.alarms button[data-verb="acknowledge"]`, "unacknowledged", false, "acknowledge water-overheat"),
	alarmed1(`.band button[data-verb="reset"]`, "latched-acknowledged", true, "reset water-overheat"),
	alarmed1(`.alarms button[data-verb="reset"]`, "latched-acknowledged", true, "reset water-overheat"),
	alarmed1(`.permit-place button[data-verb="reset"]`, "latched-acknowledged", true, "reset water-overheat"),
	alarmed1(`.alarms button[data-verb="unshelve"]`, "shelved", false, "unshelve water-overheat"),
	alarmed1(`.alarms button[data-verb="return-to-service"]`, "out-of-service", false, "return-to-service water-overheat"),
	{`#permit-give`, func(h *hand) {
		h.become(alarmed("acknowledged", false))
		h.sees(`document.getElementById('permit-give') !== null`)
		h.click(`#permit-give`)
		h.asks("give")
	}},
	{`#permit-test`, func(h *hand) {
		h.become(permitted())
		h.sees(`document.getElementById('permit-test') !== null`)
		h.click(`#permit-test`)
		h.asks("proof-test")
	}},
	{`#permit-withdraw`, func(h *hand) { h.click(`#permit-withdraw`); h.asks("withdraw") }},
	{`#hand-valve`, func(h *hand) { h.choose(`#hand-valve`, "0.25"); h.sets(`"Valve":0.25`) }},
	{`#hand-supply`, func(h *hand) { h.choose(`#hand-supply`, "6 L/min"); h.sets(`"Supply":0.0001`) }},
	{`#hand-heater`, func(h *hand) { h.choose(`#hand-heater`, "50 Cel"); h.sets(`"Heater":50`) }},
	{`#hand-dye`, func(h *hand) { h.choose(`#hand-dye`, ""); h.sets(`"Dye":true`) }},
	{`#hand-speed`, func(h *hand) { h.choose(`#hand-speed`, "30"); h.sets(`"Speed":30`) }},
	{`#hand-pause`, func(h *hand) { h.click(`#hand-pause`); h.sets(`"Pause":true`) }},
	{`#scenarios button`, func(h *hand) {
		h.sees(`document.getElementById('scenario-sweep') !== null`)
		h.click(`#scenario-sweep`)
		h.sets(`"Scenario":"sweep"`)
	}},
	{`#lesson-start`, func(h *hand) { // the rest of it is driven on the demo
		h.click(`#lesson-start`)
		h.sets(`"Scenario":"steady"`)
		h.sees(`document.getElementById('lesson-state').textContent === 'Step 1 of 6.'`)
	}},
	{`#working > summary, #working pre`, func(h *hand) {
		opens(`#working`)(h)
		h.sees(`document.querySelector('#working pre').textContent !== 'needs scripts'`)
	}},
	{`details.all > summary`, opens(`details.all`)},
	{`#help > summary`, opens(`#help`)},
	{`#keys`, func(h *hand) {
		h.click(`#keys`)
		h.do(chromedp.KeyEvent("1")) // does nothing now
		h.click(`#keys`)
		h.do(chromedp.KeyEvent("2"))
		h.asks("Seen:transitional")
	}},
	{`#to-hall`, func(h *hand) {
		h.click(`#to-hall`)
		h.sees(`location.pathname === '/hall' && document.documentElement.dataset.link === 'live'`)
		const press = `document.body.dispatchEvent(new KeyboardEvent('keydown', {key: 'h', bubbles: true}))`
		// Again after 3 s, where the script had not begun; sooner, it would begin the journey anew.
		h.sees(`location.pathname === '/hall' ? performance.now() > (window.pressed ?? 0) && (window.pressed = performance.now() + 3000, ` + press + `, false) : ` + begun)
	}},
	{`details.who > summary`, opens(`details.who`)},
	{`#sign-out`, func(h *hand) {
		h.click(`#sign-out`)
		h.sees(`document.documentElement.dataset.role === '' && getComputedStyle(document.getElementById('capture')).visibility + getComputedStyle(document.getElementById('capture').closest('.act')).display !== 'visibleblock'`)
	}},
	{`#token, #sign-in button`, func(h *hand) {
		h.do(chromedp.SetValue(`#token`, h.operate))
		h.click(`#sign-in button`)
		h.sees(`document.documentElement.dataset.role === 'operate' && document.getElementById('who').textContent === 'ada (operate)'`)
	}},
}

// TestNoControlIsForgotten uses every control of the page, and holds that the page has
// none that is not among those that are used: one that is added must be used here too.
func TestNoControlIsForgotten(t *testing.T) {
	daqtest.Browses(t)
	t.Parallel()
	h := &hand{sim: &fakeHands{now: daq.Simulator{Valve: 0.4, Opening: 0.4, Supply: 3.5e-3 / 60, Heater: 45, Speed: 10, Scenarios: []daq.Scenario{{Name: "sweep", About: "Four temperatures."}}}}}
	h.ctx, h.bed = desk(t, 1366, 768, "", func(o *Options) {
		o.Simulator, o.History = h.sim, seenNow{}
		o.Facts.Plans = []string{"critical", "four temperatures"}
		o.Facts.Instruments = append(o.Facts.Instruments, quantity.DyeLight)
		o.Report = func(context.Context, string) ([]byte, bool, error) { return []byte("<!DOCTYPE html>"), true, nil }
	})
	h.sees(begun)
	var queries []string
	for _, c := range controls {
		queries = append(queries, c.query)
	}
	list, err := json.Marshal(queries)
	must(t, err)
	used := map[int]bool{}
	for _, c := range controls {
		look[bool](t, h.ctx, `(window.prompt = () => 'the wrong tube', window.confirm = () => true, true)`)
		c.drive(h)
		for _, found := range look[[]string](t, h.ctx, `(() => {
			const queries = `+string(list)+`, found = new Set();
			for (const e of document.querySelectorAll('button, input, select, textarea, summary, a[href], [tabindex="0"]:not(section)')) { // a section with it is one that scrolls
				const n = queries.findIndex((q) => e.matches(q));
				found.add(n < 0 ? e.outerHTML.slice(0, 200) : String(n));
			}
			return [...found];
		})()`) {
			var n int
			if _, err := fmt.Sscanf(found, "%d", &n); err != nil {
				t.Errorf("nobody uses %s", found)
				continue
			}
			used[n] = true
		}
	}
	for n, c := range controls {
		if !used[n] {
			t.Errorf("the page has no %s", c.query)
		}
	}
}

// seenNow is a recording with an observation of this moment, for a mark on the trend.
type seenNow struct{ fakeHistory }

func (h seenNow) Results(ctx context.Context, what string, last int64, limit int) ([]daq.Message, error) {
	if what != "observations" {
		return nil, nil
	}
	at := time.Now().Add(-time.Minute).UTC().Format(time.RFC3339)
	return []daq.Message{{Class: daq.ClassEvent, Sequence: 7, Body: fmt.Appendf(nil, `{"sequence":7,"time":%q,"seen":"laminar","who":"ada"}`, at)}}, nil
}
