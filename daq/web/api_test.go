package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/request"
)

func TestNowIsTheState(t *testing.T) {
	b := testBed(t, nil)
	status, header, text := b.ask("GET", "/api/now", "", "")
	if status != 200 || header.Get("Content-Type") != "application/json" {
		t.Fatalf("status %d, %v", status, header)
	}
	got := decode[map[string]any](t, text)
	for id := range quantity.Count {
		if _, there := got[id.Name()]; !there {
			t.Errorf("%s is missing", id.Name())
		}
	}
	if got["reynolds_number"] != 1834.2 || got["loss_coefficient"] != nil || got["regime"] != "laminar" || got["site"] != "north-hall" {
		t.Errorf("state = %s", text)
	}
}

// TestNothingOldAsNew: with a hung engine no value passes for the present.
func TestNothingOldAsNew(t *testing.T) {
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) { f.dead = errFake })
	for _, path := range []string{"/api/now", "/api/alarms", "/healthz", "/readyz"} {
		status, header, text := b.ask("GET", path, "", "")
		if status != 503 || header.Get("Content-Type") != "application/problem+json" || !strings.Contains(text, errFake.Error()) {
			t.Errorf("%s: %d %s", path, status, text)
		}
	}
	if _, _, text := b.ask("GET", "/metrics", "", ""); strings.Contains(text, "flowrig_reynolds_number") {
		t.Error("metrics show the last good value")
	}
	if _, _, text := b.ask("GET", "/", "", ""); strings.Contains(text, "834") || !strings.Contains(text, errFake.Error()) {
		t.Error("the page shows the last good value, or not why")
	}
}

func TestReadyNamesWhatIsNot(t *testing.T) {
	checks := map[string]error{"recording": nil, "broker": errors.New("no connection to 127.0.0.1:1883")}
	b := testBed(t, func(o *Options) { o.Checks = func() map[string]error { return checks } })
	status, _, text := b.ask("GET", "/readyz", "", "")
	p := decode[problem](t, text)
	if status != 503 || p.Detail != "not ready: broker" || p.Checks["recording"] != "ok" || p.Checks["broker"] != "no connection to 127.0.0.1:1883" {
		t.Errorf("%d %s", status, text)
	}
	if _, _, page := b.ask("GET", "/", "", ""); !strings.Contains(page, "Not working: broker: no connection") {
		t.Error("the page does not say that the broker is gone")
	}
}

func TestReadyAndHealthy(t *testing.T) {
	b := testBed(t, func(o *Options) { o.Checks = func() map[string]error { return map[string]error{"recording": nil} } })
	for _, path := range []string{"/healthz", "/readyz"} {
		b.answers(200, "GET", path, "", "")
	}
}

// TestReadySaysSo: the answer when all is well names what was asked.
func TestReadySaysSo(t *testing.T) {
	b := testBed(t, func(o *Options) { o.Checks = func() map[string]error { return map[string]error{"recording": nil} } })
	_, _, text := b.ask("GET", "/readyz", "", "")
	if r := decode[ready](t, text); !r.Ready || len(r.Checks) != 2 || r.Checks["recording"] != "ok" || r.Checks["engine"] != "ok" {
		t.Errorf("/readyz: %s", text)
	}
}

// TestProblems: every error is a problem document after RFC 9457.
func TestProblems(t *testing.T) {
	b := testBed(t, nil)
	large := `{"reason":"` + strings.Repeat("x", 16<<10) + `"}`
	for _, c := range []struct {
		name, method, path, body string
		status                   int
		says                     string
	}{
		{"no such path", "GET", "/api/nothing", "", 404, "/api/nothing"},
		{"no such file", "GET", "/assets/none.js", "", 404, "none.js"},
		{"wrong method", "DELETE", "/api/now", "", 405, "GET, HEAD"},
		{"get on a command", "GET", "/api/alarms/x/reset", "", 405, "POST"},
		{"get with a body", "GET", "/api/trend", `{"quantity":"level"}`, 400, "takes no body"},
		{"no such verb", "POST", "/api/alarms/water-overheat/silence", "{}", 404, "silence"},
		{"not json", "POST", "/api/alarms/water-overheat/reset", "{", 400, "write one JSON object"},
		{"unknown key", "POST", "/api/alarms/water-overheat/reset", `{"why":1}`, 400, "it takes for, reason"},
		{"a key where none is taken", "POST", "/api/experiments/x/stop", `{"why":1}`, 400, "it takes none"},
		{"more than one object", "POST", "/api/alarms/water-overheat/reset", `{} {}`, 400, "more follows"},
		{"one key twice", "POST", "/api/alarms/water-overheat/shelve", `{"for":"1 h","reason":"r","for":"24 h"}`, 400, "\\\"for\\\" stands there twice"},
		{"one key twice, escaped", "POST", "/api/permit", `{"action":"withdraw","\u0061ction":"give"}`, 400, "\\\"action\\\" stands there twice"},
		{"a key in capitals", "POST", "/api/permit", `{"Action":"give"}`, 400, "\\\"Action\\\"; keys are in small letters"},
		{"a key in other letters", "POST", "/api/permit", `{"action":"withdraw","actıon":"give"}`, 400, "unknown key"},
		{"a key with a long s", "POST", "/api/alarms/water-overheat/shelve", `{"for":"1 h","rea\u017fon":"r"}`, 400, "unknown key"},
		{"one key twice, deeper", "POST", "/api/permit", `{"action":{"a":[{"b":1,"b":2}]}}`, 400, "action.a[0].b"},
		{"null", "POST", "/api/permit", `null`, 400, "not an object"},
		{"a list", "POST", "/api/permit", `[{"action":"give"}]`, 400, "not an object"},
		{"a word", "POST", "/api/permit", `"give"`, 400, "not an object"},
		{"null for a word", "POST", "/api/permit", `{"action":null}`, 400, "action: null; leave it out"},
		{"a number for a word", "POST", "/api/permit", `{"action":1}`, 400, "action: number in place of string"},
		{"cut short", "POST", "/api/permit", `{"action":"give"`, 400, "it ends too early"},
		{"a comma too many", "POST", "/api/permit", `{"action":"give",}`, 400, "write one JSON object"},
		{"more that follows", "POST", "/api/permit", `{"action":"give"}x`, 400, "more follows"},
		{"not UTF-8", "POST", "/api/alarms/water-overheat/shelve", "{\"for\":\"1 h\",\"reason\":\"\xff\"}", 400, "not UTF-8"},
		{"half a character", "POST", "/api/alarms/water-overheat/shelve", `{"for":"1 h","reason":"\ud800"}`, 400, "reason: the character U+FFFD"},
		{"a terminal's escape", "POST", "/api/alarms/water-overheat/shelve", `{"for":"1 h","reason":"\u001b[2J"}`, 400, "reason: the character U+001B"},
		{"nested without end", "POST", "/api/permit", `{"action":` + strings.Repeat(`{"a":`, 1000), 400, "in one another"},
		{"lists without end", "POST", "/api/permit", `{"action":` + strings.Repeat(`[`, 5000), 400, "in one another"},
		{"too large", "POST", "/api/alarms/water-overheat/reset", large, 413, "send less"},
		{"length where none belongs", "POST", "/api/alarms/water-overheat/reset", `{"for":"1 h"}`, 400, "only shelve"},
		{"shelve without a reason", "POST", "/api/alarms/water-overheat/shelve", `{"for":"1 h"}`, 400, "reason"},
		{"shelve for too long", "POST", "/api/alarms/water-overheat/shelve", `{"for":"25 h","reason":"r"}`, 400, "24 h at most"},
		{"shelve for nonsense", "POST", "/api/alarms/water-overheat/shelve", `{"for":"soon","reason":"r"}`, 400, "30 min"},
		{"shelve for a bare number", "POST", "/api/alarms/water-overheat/shelve", `{"for":30,"reason":"r"}`, 400, "for: number in place of string"},
		{"history of nonsense", "GET", "/api/alarms?history=-1", "", 400, "0 to 1000"},
		{"trend of nothing", "GET", "/api/trend", "", 400, "reynolds_number"},
		{"trend of a word", "GET", "/api/trend?quantity=regime", "", 400, "no trend"},
		{"trend, unknown key", "GET", "/api/trend?quantity=level&step=1", "", 400, "step"},
		{"trend, bad time", "GET", "/api/trend?quantity=level&from=today", "", 400, "RFC 3339"},
		{"trend backwards", "GET", "/api/trend?quantity=level&from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z", "", 400, "not before"},
		{"trend, too many buckets", "GET", "/api/trend?quantity=level&buckets=100000", "", 400, "1 to 5000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			status, header, text := b.ask(c.method, c.path, b.operate, c.body)
			p := decode[problem](t, text)
			if status != c.status || p.Status != c.status || header.Get("Content-Type") != "application/problem+json" || !strings.Contains(text, c.says) {
				t.Errorf("%d %s %s; want %d with %q", status, header.Get("Content-Type"), text, c.status, c.says)
			}
		})
	}
	if _, header, _ := b.ask("DELETE", "/api/now", "", ""); header.Get("Allow") != "GET, HEAD" {
		t.Errorf("Allow: %q", header.Get("Allow"))
	}
	if got := b.rig.commands(); len(got) != 0 {
		t.Errorf("the engine got %v", got)
	}
}

// TestBodiesThatAreNotJSON: a body that is packed or a form is told so; JSON is
// taken under whatever type, for a command line sends it as a form.
func TestBodiesThatAreNotJSON(t *testing.T) {
	b := testBed(t, nil)
	for _, c := range []struct {
		path, kind, packed, body string
		status                   int
		says                     string
	}{
		{"/api/permit", "application/x-www-form-urlencoded", "", `{"action":"withdraw"}`, 200, "withdraw"},
		{"/api/permit", "application/json; charset=utf-8", "identity", `{"action":"withdraw"}`, 200, "withdraw"},
		{"/api/permit", "application/x-www-form-urlencoded", "", "action=withdraw", 400, "write one JSON object"},
		{"/api/permit", "application/json", "gzip", "\x1f\x8b", 415, "send it as it is"},
		{"/api/permit", "application/json", "", "{\x00\"\x00", 400, "write one JSON object"},
		{"/api/session", "application/x-www-form-urlencoded", "", `{"token":"` + b.watch + `"}`, 400, "Content-Type: application/json"},
		{"/api/session", "application/x-www-form-urlencoded", "", "token=a&token=" + b.watch, 400, "its one field"},
		{"/api/session", "application/x-www-form-urlencoded", "", "token=" + strings.Repeat("x", 20000), 400, "its one field"},
		{"/api/session", "application/x-www-form-urlencoded", "", "token=%", 400, "its one field"},
		{"/api/session", "application/json", "", `{"token":"` + b.watch + `","Token":"` + b.operate + `"}`, 400, "small letters"},
	} {
		status, _, text := b.ask("POST", c.path, b.operate, c.body, func(r *http.Request) {
			r.Header.Set("Content-Type", c.kind)
			if c.packed != "" {
				r.Header.Set("Content-Encoding", c.packed)
			}
		})
		if status != c.status || !strings.Contains(text, c.says) {
			t.Errorf("%s %.60q: %d %s; want %d with %q", c.path, c.body, status, text, c.status, c.says)
		}
	}
}

func TestCommands(t *testing.T) {
	b := testBed(t, nil)
	for _, c := range []struct {
		verb daq.Verb
		body string
		want daq.Ask
	}{
		{daq.Acknowledge, `{}`, &daq.AlarmAsk{Do: daq.Acknowledge, Alarm: "water-overheat"}},
		{daq.Reset, ``, &daq.AlarmAsk{Do: daq.Reset, Alarm: "water-overheat"}},
		{daq.Shelve, `{"for":"30 min","reason":"valve work"}`, &daq.ShelveAsk{Alarm: "water-overheat", For: 30 * 60e9, Reason: "valve work"}},
		{daq.Unshelve, `{}`, &daq.AlarmAsk{Do: daq.Unshelve, Alarm: "water-overheat"}},
		{daq.OutOfService, `{"reason":"probe away"}`, &daq.AlarmAsk{Do: daq.OutOfService, Alarm: "water-overheat", Reason: "probe away"}},
		{daq.ReturnToService, `{}`, &daq.AlarmAsk{Do: daq.ReturnToService, Alarm: "water-overheat"}},
	} {
		status, _, text := b.ask("POST", "/api/alarms/water-overheat/"+string(c.verb), b.operate, c.body)
		list := b.rig.commands()
		got := list[len(list)-1]
		if status != 200 || got.ID == "" {
			t.Errorf("%s: %d %s, id %q", c.verb, status, text, got.ID)
		}
		want := daq.Command{ID: got.ID, Who: "ada", Ask: c.want}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v", c.verb, got, want)
		}
	}
}

func TestRefusalsOfTheEngine(t *testing.T) {
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) { f.deny = errors.New("water-overheat: reset: the cause still stands") })
	status, _, text := b.ask("POST", "/api/alarms/water-overheat/reset", b.operate, "{}")
	if p := decode[problem](t, text); status != 409 || p.Detail != "water-overheat: reset: the cause still stands" {
		t.Errorf("%d %s", status, text)
	}
	// The engine sees the wish for an alarm that is not there, and journals it.
	if status, _, _ := b.ask("POST", "/api/alarms/no-such/reset", b.operate, "{}"); status != 404 || len(b.rig.commands()) != 2 {
		t.Errorf("no such alarm: %d, %d commands", status, len(b.rig.commands()))
	}
}

// TestEngineThatDoesNotAnswer: nothing was refused, the daemon is not able.
func TestEngineThatDoesNotAnswer(t *testing.T) {
	b := testBed(t, nil)
	for _, why := range []error{context.DeadlineExceeded, context.Canceled} {
		b.rig.set(func(f *fakeRig) { f.deny = fmt.Errorf("permit: no answer from the engine: %w", why) })
		for path, body := range map[string]string{"/api/permit": `{"action":"withdraw"}`, "/api/alarms/water-overheat/reset": "{}", "/api/alarms/none/reset": "{}"} {
			status, header, text := b.ask("POST", path, b.operate, body)
			if status != 503 || header.Get("Retry-After") == "" || !strings.Contains(text, "no answer from the engine") {
				t.Errorf("%s: %d %v %s", path, status, header, text)
			}
		}
	}
}

func TestAlarmsOutliveTheDisk(t *testing.T) {
	b := testBed(t, func(o *Options) { o.History = fakeHistory{errFake} })
	b.rig.set(func(f *fakeRig) { f.state = hotState() })
	status, _, text := b.ask("GET", "/api/alarms", "", "")
	got := decode[alarmsReply](t, text)
	if status != 200 || len(got.Alarms) != 2 || got.History != nil || got.HistoryProblem != errFake.Error() {
		t.Errorf("%d %s", status, text)
	}
}

func TestAlarmsWithHistory(t *testing.T) {
	b := testBed(t, nil)
	_, _, text := b.ask("GET", "/api/alarms?history=5", "", "")
	if !strings.HasPrefix(text, `{"alarms":[],"history":[{"name":"head-lost","state":"normal"}],"figures":{`) {
		t.Errorf("alarms = %s", text)
	}
}

// Every configured alarm is listed with its setting, a quiet one as normal.
func TestAlarmsGivesSettings(t *testing.T) {
	b := testBed(t, nil)
	b.rig.set(func(f *fakeRig) { f.state = hotState() })
	if _, _, text := b.ask("GET", "/api/alarms", "", ""); strings.Contains(text, "configured") {
		t.Errorf("unasked: %s", text)
	}
	_, _, text := b.ask("GET", "/api/alarms?configured", "", "")
	var got struct{ Configured []map[string]any }
	if err := json.Unmarshal([]byte(text), &got); err != nil || len(got.Configured) != 3 {
		t.Fatalf("%v %s", err, text)
	}
	states := map[string]string{}
	for _, a := range hotState().Alarms {
		states[a.Name] = a.State
	}
	want := map[string]any{
		"name": "water-overheat", "state": states["water-overheat"], "priority": "high", "on": []any{"temperature_celsius"},
		"above": 75.0, "below": nil, "deadband": 2.0, "on_delay_seconds": 2.0, "latch": true, "trip": true, "action": "Switch off.",
	}
	if !reflect.DeepEqual(got.Configured[0], want) {
		t.Errorf("%v, want %v", got.Configured[0], want)
	}
	quiet := got.Configured[2]
	if _, standing := states["instrument-fault-temperature"]; standing || quiet["state"] != "normal" || quiet["deadband"] != nil || fmt.Sprint(quiet["on"]) != "[]" {
		t.Errorf("without a limit and quiet: %v", quiet)
	}
}

func TestTrend(t *testing.T) {
	b := testBed(t, nil)
	_, _, text := b.ask("GET", "/api/trend?quantity=level_meters&from=2026-01-01T00:00:00Z&to=2026-01-01T01:00:00Z&buckets=60", "", "")
	var got struct {
		Quantity, Unit, From, To string
		Buckets                  []map[string]any
	}
	must(t, json.Unmarshal([]byte(text), &got))
	if got.Quantity != "level_meters" || got.Unit != "meters" || len(got.Buckets) != 60 || got.From != "2026-01-01T00:00:00.000000Z" {
		t.Errorf("trend = %.200s", text)
	}
	if known, gap := got.Buckets[0], got.Buckets[35]; known["mean"] != 0.2512 || gap["mean"] != nil || gap["count"] != 0.0 {
		t.Errorf("buckets: %v, %v", known, gap)
	}
	b.answers(200, "GET", "/api/trend?quantity=level&from=-10+min", "", "")
}

func TestTrendWithoutDisk(t *testing.T) {
	b := testBed(t, func(o *Options) { o.History = fakeHistory{errFake} })
	if status, _, text := b.ask("GET", "/api/trend?quantity=level", "", ""); status != http.StatusServiceUnavailable || !strings.Contains(text, errFake.Error()) {
		t.Errorf("%d %s", status, text)
	}
}

func TestAlarmsGivesFigures(t *testing.T) {
	b := testBed(t, nil)
	status, _, body := b.ask("GET", "/api/alarms", "", "")
	if status != 200 || !strings.Contains(body, `"figures":{`) || !strings.Contains(body, `"raised_by_priority":{"high":1}`) {
		t.Errorf("%d %s", status, body)
	}
}

// FuzzBody: what is taken says one thing only, also to another reader of JSON.
func FuzzBody(f *testing.F) {
	for _, text := range []string{`{}`, `{"for":"1 h","reason":"r"}`, `{"for":"1","for":"2"}`, `{"For":"1"}`, `{"for":[{"a":1}]}`, `{"for":null}`} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var got commandBody
		if request.Decode(text, &got) != nil {
			return
		}
		var other map[string]string
		if err := json.Unmarshal(text, &other); err != nil || other["for"] != got.For || other["reason"] != got.Reason || len(other) > 2 {
			t.Errorf("%q: %+v, %v, %v", text, got, other, err)
		}
	})
}
