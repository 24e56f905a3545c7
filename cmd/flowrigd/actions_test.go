package main

import (
	"context"
	"errors"
	"fmt"
	"html"
	"maps"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
	"flowrigd/daq/web"
)

// Every alarm of this rig can stand beside every other one: a supply that fails
// raises three by itself. So the instructions are read side by side, and each has
// to hold whatever stands beside it. The dangers are common practice, no source:
// cold water on a hot dry heater flashes to steam, and cracks hot glass.
var (
	heat     = regexp.MustCompile(`\b((switch|turn) (the heater|it) on|turn the heater up|heat (it|the water) up|set the heater higher)\b`)
	wetting  = regexp.MustCompile(`\b(open|close|shut|turn on|turn up|turn off|run|runs|restore|refill|fill|add|pour|increase|raise|bring|let)\b[^.;,]*\b(supply|cold water|water|tap|valve|level|flow|head)\b`)
	approach = regexp.MustCompile(`\b(check plug|check cable|put the probe|look into|look at the (inlet|tube)|touch|take apart)\b`)
	turnDown = regexp.MustCompile(`\b(set|turn) the heater (lower|down)\b`)
	switched = regexp.MustCompile(`\bswitch (the heater|it) off\b`)
	cooled   = regexp.MustCompile(`\b(cooled|cool before|about equally warm)\b`)
	denied   = regexp.MustCompile(`\b(do not|never|without|not to)\s*$`)
)

// objection says why an instruction may hurt beside another one; "" if it may not.
func objection(text string) string {
	low := strings.ToLower(text)
	if m := heat.FindString(low); m != "" {
		return "asks for heat: " + m
	}
	for _, rule := range []struct {
		what *regexp.Regexp
		why  string
	}{
		{wetting, "changes the water before heater and tube have cooled: "},
		{approach, "sends a hand to hot parts: "},
	} {
		for _, at := range rule.what.FindAllStringIndex(low, -1) {
			if !cooled.MatchString(low[:at[0]]) && !denied.MatchString(low[:at[0]]) {
				return rule.why + low[at[0]:at[1]]
			}
		}
	}
	if turnDown.MatchString(low) && !switched.MatchString(low) {
		return "leaves the heater on where another alarm wants it off"
	}
	for _, at := range switched.FindAllStringIndex(low, -1) {
		if !strings.HasPrefix(low[at[1]:], " at its own switch") {
			return "another switch than the other instructions name: " + low[at[0]:]
		}
	}
	return ""
}

// TestObjections: the judge itself, on sentences that have hurt or may.
func TestObjections(t *testing.T) {
	for text, want := range map[string]bool{
		"Switch the heater off at its own switch, keep away from tube and outlet, and let cold supply run until the water has cooled.": true,
		"Switch the heater off at its own switch, open the supply until water runs over the lip again, and repeat the readings.":       true,
		"Check the rig, and bring the level back above the limit.":                                                                     true,
		"Turn the heater down, or see that the supply runs.":                                                                           true,
		"Open the tube's valve a little.":                                                                                              true,
		"Check plug, sensor power and line settings of level.":                                                                         true,
		"Set the heater lower, and stand clear.":                                                                                       true,
		"Switch the heater off at its isolating switch.":                                                                               true,
		"Switch the heater on and see.":                                                                                                true,
		"Switch the heater off at its own switch.":                                                                                     false,
		"Once heater and tube have cooled, open the water supply slowly.":                                                              false,
		"Do not open the supply.":                                                                                                      false,
		"Leave the water supply as it is until heater and tube have cooled.":                                                           false,
	} {
		if got := objection(text); (got != "") != want {
			t.Errorf("%q: %q", text, got)
		}
	}
}

// allAlarms is the text of a configuration with every built-in alarm, and with
// alarms of its own that have the sentences of their kind.
func allAlarms(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "rigs", "good", "heating.toml"))
	daqtest.Must(t, err)
	return string(data) + `
[mqtt]
broker = "embedded"
[alarms.little-supply]
on = "supply_flow"
below = "2 L/min"
[alarms.shallow]
on = "head"
below = "1.2 m"
[alarms.fast-flow]
on = "velocity"
above = "1.5 m/s"
`
}

// actionsOf gives the instruction of every alarm of a configuration, and of those
// that an engine makes itself.
func actionsOf(t *testing.T) map[string]string {
	t.Helper()
	cfg := daqtest.Config(t, allAlarms(t))
	actions := map[string]string{}
	for _, a := range cfg.Alarms {
		actions[a.Name] = a.Action
	}
	e, err := engine.New(cfg, []daq.SavedAlarm{{Name: daq.JournalUnread, State: "unacknowledged", Tripped: true}, {Name: "left", State: "unacknowledged"}})
	daqtest.Must(t, err)
	state, _ := e.Step(e.Begin())
	for _, a := range state.Alarms {
		actions[a.Name] = a.Action
	}
	rules, err := os.ReadFile(filepath.Join("..", "..", "dashboards", "alerts.yml"))
	daqtest.Must(t, err)
	name := ""
	for line := range strings.Lines(string(rules)) {
		if _, after, ok := strings.Cut(line, "- alert: "); ok {
			name = strings.TrimSpace(after)
		}
		if _, after, ok := strings.Cut(line, "action: "); ok {
			actions[name] = strings.TrimSpace(after)
		}
	}
	return actions
}

// shownRig is a state for the page.
type shownRig struct {
	state *daq.State
	dead  error
}

func (r shownRig) Last() *daq.State                                { return r.state }
func (r shownRig) Alive() error                                    { return r.dead }
func (r shownRig) Identity() daq.Identity                          { return daq.Identity{Site: "north-hall", Rig: "bench-3"} }
func (r shownRig) Do(context.Context, daq.Command) ([]byte, error) { return nil, nil }

var toldOnPage = regexp.MustCompile(`<li>([^<]+)</li>|data-sure="([^"]+)"|<p class="(?:permit|without|notice [a-z]+)">(.+?)</p>`)

// adviceOnPage is all that the page tells a person to do, in each state of the rig.
func adviceOnPage(t *testing.T) map[string]string {
	t.Helper()
	values := func(band quantity.Band, seconds float64) *daq.State {
		s := &daq.State{Time: time.Date(2026, 3, 4, 9, 30, 0, 0, time.UTC)}
		s.Values.Put(quantity.Regime, float64(band))
		s.Values.Put(quantity.Temperature, 68)
		s.Values.Put(quantity.SecondsToOverheat, seconds)
		s.Values.PutBool(quantity.HeatingPermitted, false)
		return s
	}
	tripped := values(quantity.Laminar, 0)
	tripped.Tripped = []string{"water-overheat"}
	without := values(quantity.NoFlow, 0)
	without.Unwatched = []string{"water-overheat"}
	given := values(quantity.Turbulent, 200)
	given.Given = true
	told := map[string]string{}
	for name, rig := range map[string]shownRig{"blind": {nil, errors.New("no answer for 3 s")}, "tripped": {tripped, nil}, "no flow": {without, nil}, "given": {given, nil}, "unknown": {values(quantity.Unknown, 0), nil}} {
		s, err := web.New(web.Options{Listen: "127.0.0.1:0", Rig: rig, Facts: web.Facts{Permit: true, LaminarBelow: 2000, TurbulentAbove: 4000}})
		if err == nil {
			err = s.Listen() // on loopback, where reading needs no account
		}
		daqtest.Must(t, err)
		r := httptest.NewRequest("GET", "http://127.0.0.1/", nil)
		r.RemoteAddr = "127.0.0.1:5000"
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		over, end := context.WithCancel(t.Context())
		end()
		if err := s.Run(over); err != nil {
			t.Error(err)
		}
		for i, m := range toldOnPage.FindAllStringSubmatch(w.Body.String(), -1) {
			told[fmt.Sprintf("page, %s, %d", name, i)] = html.UnescapeString(m[1] + m[2] + m[3])
		}
	}
	if len(told) < 12 {
		t.Fatalf("the page says only %q", told)
	}
	return told
}

func TestNoActionHurtsBesideAnother(t *testing.T) {
	actions := actionsOf(t)
	maps.Copy(actions, adviceOnPage(t))
	for _, name := range []string{"water-overheat", "head-lost", "heating-without-supply", "temperature-implausible", "temperature-rising-fast",
		"tube-blocked", "trip-ineffective", "recording-failed", "broker-lost", "receiver-failed", "instrument-fault-temperature", "instrument-fault-level",
		"cool", "little-supply", "shallow", "fast-flow", daq.JournalUnread, "left", "FlowrigAlarm", "FlowrigOverheatSoon"} {
		if actions[name] == "" {
			t.Errorf("%s: not among the actions", name)
		}
	}
	for name, text := range actions {
		if why := objection(text); why != "" {
			t.Errorf("%s: %s\n\t%s", name, why, text)
		}
	}
}
