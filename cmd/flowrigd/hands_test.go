//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"flowrigd/daq/daqtest"
)

// operator is a person who opened the demo's one-time link.
type operator struct {
	t  *testing.T
	at string
	c  http.Client
}

func operatorOf(t *testing.T, page, at string) operator {
	t.Helper()
	jar, err := cookiejar.New(nil)
	must(t, err)
	o := operator{t, at, http.Client{Jar: jar, Timeout: 10 * time.Second}}
	answer, err := o.c.Get(page)
	must(t, err)
	answer.Body.Close()
	return o
}

// hand sets the simulated rig, and gives what it answers.
func (o operator) hand(change map[string]any) map[string]any {
	o.t.Helper()
	body, err := json.Marshal(change)
	must(o.t, err)
	answer, err := o.c.Post("http://"+o.at+"/api/simulator", "application/json", bytes.NewReader(body))
	must(o.t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	must(o.t, err)
	var said map[string]any
	if answer.StatusCode != http.StatusOK || json.Unmarshal(text, &said) != nil {
		o.t.Fatalf("%v: %d %s", change, answer.StatusCode, text)
	}
	return said
}

// standingIn are the names of the alarms that stand.
func standingIn(state map[string]any) (names []string) {
	list, _ := state["alarms"].([]any)
	for _, a := range list {
		names = append(names, a.(map[string]any)["name"].(string))
	}
	return names
}

// TestDemoIsWorkedByHand: speed goes to and fro without an alarm or a reading that is
// not good, a pause holds the rig's clock, the valve moves the flow, and a mishap alarms.
func TestDemoIsWorkedByHand(t *testing.T) {
	t.Parallel()
	at := daqtest.FreeAddress(t)
	p := start(t, program, "demo", "--listen", at, "--data", t.TempDir())
	within(t, 20*time.Second, "all instruments good", func() bool { return allGood(now(at)) && number(now(at), "reynolds_number") > 0 })
	page, _ := demoLines(t, p)
	o := operatorOf(t, page, at)
	for _, speed := range []float64{30, 1, 30} {
		o.hand(map[string]any{"speed": speed})
		first := number(now(at), "sequence")
		within(t, 10*time.Second, "some rows more", func() bool { return number(now(at), "sequence") >= first+2 })
		within(t, 10*time.Second, "all instruments good", func() bool { return allGood(now(at)) }) // one answer may be late on a busy machine
		if s := now(at); len(standingIn(s)) > 0 {
			t.Errorf("at speed %v: alarms %v", speed, standingIn(s))
		}
	}
	o.hand(map[string]any{"pause": true})
	o.hand(map[string]any{"valve": 0.7})
	stood, since := any(nil), time.Now() // a step that was on its way may still come
	within(t, 10*time.Second, "the rig's clock stands for 9 s of its own", func() bool {
		if told := now(at)["time"]; told != stood {
			stood, since = told, time.Now()
		}
		return time.Since(since) > 300*time.Millisecond
	})
	before := number(now(at), "flow_cubic_meters_per_second")
	o.hand(map[string]any{"pause": false})
	within(t, 20*time.Second, "the flow follows the valve", func() bool { return number(now(at), "flow_cubic_meters_per_second") > 1.5*before })
	if said := o.hand(map[string]any{"scenario": "open-sensor"}); said["scenario"] != "open-sensor" {
		t.Errorf("it plays %v", said["scenario"])
	}
	within(t, 20*time.Second, "the alarm", func() bool {
		return len(standingIn(now(at))) == 1 && standingIn(now(at))[0] == "instrument-fault-temperature"
	})
	p.ends(exitDone)
}

// TestTheFirstLesson does what the page's lesson says, in the browser.
func TestTheFirstLesson(t *testing.T) {
	t.Parallel()
	at := daqtest.FreeAddress(t)
	p := start(t, program, "demo", "--listen", at, "--data", t.TempDir(), "--speed", "30")
	page, _ := demoLines(t, p)
	ctx := browser(t)
	must(t, chromedp.Do(ctx, chromedp.Navigate(page)))
	until := func(expression string) {
		t.Helper()
		if _, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(40*time.Second))); err != nil {
			text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.getElementById('simulator').innerText + document.getElementById('answer').textContent`))
			t.Fatalf("waiting for %s: %v\n%s\n%s", expression, err, text, p.err.String())
		}
	}
	done := func(step string) string {
		return `document.querySelector('#lesson li[data-step="` + step + `"]')?.hasAttribute('data-done')`
	}
	until(`document.documentElement.dataset.role === 'operate' && document.getElementById('hand-supply').value !== ''`)
	must(t, chromedp.Do(ctx, chromedp.Click(`#lesson-start`)))
	until(done("start"))
	set := `(v => { const e = document.getElementById('hand-valve'); e.value = v; e.dispatchEvent(new Event('change')); return true; })(0.4)`
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](set))
	must(t, err)
	until(done("valve"))
	until(done("regime"))
	must(t, chromedp.Do(ctx, chromedp.Click(`button[data-seen="laminar"]`)))
	until(done("dye"))
	must(t, chromedp.Do(ctx, chromedp.Click(`#capture`)))
	until(done("capture"))
	_, err = chromedp.Run(ctx, chromedp.Evaluate[bool](`fetch(document.getElementById('lesson-report').href).then(a => a.text()).then(text => { document.body.dataset.report = text.includes('test point'); }), true`))
	must(t, err)
	until(`document.body.dataset.report === 'true'`)
	must(t, chromedp.Do(ctx, chromedp.Click(`#lesson-report`)))
	until(done("report"))
	until(`document.getElementById('lesson-state').textContent === 'The lesson is done.'`)
	p.ends(exitDone)
}
