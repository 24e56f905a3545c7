package web

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

var heatedText = daqtest.Rig("measuring") + `[trip]
port = "bus"
modbus = {address = 9, coil = 0}
[alarms.warm]
on = "temperature"
above = "60 Cel"
trip = true
`

// stepped is a Rig that is the engine itself, stepped by its commands.
type stepped struct {
	mu    sync.Mutex
	e     *engine.Engine
	state daq.State
	in    daq.Input
}

// newStepped starts an engine on saved alarms, at 40 °C with water at the lip.
func newStepped(t *testing.T, saved ...daq.SavedAlarm) *stepped {
	t.Helper()
	e, err := engine.New(daqtest.Config(t, heatedText), saved)
	must(t, err)
	r := &stepped{e: e}
	r.step(e.Begin())
	return r
}

// step takes an input at the next 100 ms; the mutex is the caller's.
func (r *stepped) step(in daq.Input) (refusal error) {
	in.Number, in.Mono = r.in.Number+1, r.in.Mono+100*time.Millisecond
	in.Wall, in.Synchronised = time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC).Add(in.Mono), true
	r.state, _ = r.e.Step(in)
	r.in = in
	if reply := r.e.Reply(); reply != nil && reply.Error != "" {
		refusal = errors.New(reply.Error)
	}
	return refusal
}

// measure gives every instrument a reading as it comes over the wire, then a tick.
func (r *stepped) measure(celsius, millimeters float64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for id, v := range map[quantity.ID]float64{quantity.Flow: 1.2, quantity.Temperature: 10 * celsius, quantity.Level: 4000 + 40*millimeters} {
		r.step(daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Instrument: id, Number: v, At: r.in.Mono}})
	}
	r.step(daq.Input{Kind: daq.KindTick})
}

func (r *stepped) Last() *daq.State {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.state
	return &s
}

func (r *stepped) Do(_ context.Context, c daq.Command) ([]byte, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return nil, r.step(daq.Input{Kind: daq.KindCommand, Command: &c})
}

func (r *stepped) Identity() daq.Identity { return daq.Identity{Site: "north-hall", Rig: "bench-3"} }
func (r *stepped) Alive() error           { return nil }

var (
	alarmButton  = regexp.MustCompile(`data-alarm="([^"]+)" data-verb="([^"]+)"`)
	permitButton = regexp.MustCompile(`data-permit="([^"]+)"(?: data-without="([^"]*)")?`)
)

// TestEveryButtonIsAccepted: in each of the nine states, holding the permit or
// not, latching or not, the engine accepts each button that the page shows; and
// where it accepts a step towards normal, the page shows a button for it.
func TestEveryButtonIsAccepted(t *testing.T) {
	t.Parallel()
	for state := alarm.Normal; state <= alarm.OutOfService; state++ {
		for _, name := range []string{"water-overheat", "warm", "instrument-fault-flow"} { // latches and trips; trips; neither
			for _, tripped := range []bool{false, true} {
				if tripped && name == "instrument-fault-flow" {
					continue
				}
				t.Run(fmt.Sprintf("%s %s %v", name, state, tripped), func(t *testing.T) {
					buttonsAccepted(t, daq.SavedAlarm{Name: name, State: state.String(), Tripped: tripped,
						Since: time.Date(2026, 3, 4, 8, 0, 0, 0, time.UTC), Until: time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)})
				})
			}
		}
	}
}

func buttonsAccepted(t *testing.T, saved daq.SavedAlarm) {
	begin := func() *bed { return steppedBed(t, newStepped(t, saved)) }
	_, _, page := begin().ask("GET", "/", "", "")
	shown := map[string]bool{}
	for _, m := range alarmButton.FindAllStringSubmatch(page, -1) {
		if m[1] != saved.Name {
			continue
		}
		shown[m[2]] = true
		b := begin()
		b.answers(200, "POST", "/api/alarms/"+m[1]+"/"+m[2], b.operate, "{}")
	}
	for _, verb := range []daq.Verb{daq.Acknowledge, daq.Reset, daq.Unshelve, daq.ReturnToService} {
		b := begin()
		status, _, text := b.ask("POST", "/api/alarms/"+saved.Name+"/"+string(verb), b.operate, "{}")
		if (status == 200) != shown[string(verb)] {
			t.Errorf("%s: %d %s, a button for it: %v", verb, status, text, shown[string(verb)])
		}
	}
}

func steppedBed(t *testing.T, r *stepped) *bed {
	return testBed(t, func(o *Options) {
		o.Rig, o.Facts.Permit, o.Facts.Alarms = r, true, nil
		for _, name := range []string{"water-overheat", "warm", "head-lost", "instrument-fault-flow", "instrument-fault-level", "instrument-fault-temperature"} {
			o.Facts.Alarms = append(o.Facts.Alarms, config.Alarm{Name: name, Priority: "high", Trip: name != "instrument-fault-flow"})
		}
	})
}

// TestEveryButtonOfThePermitIsAccepted drives the permit through its states by
// the page's own buttons.
func TestEveryButtonOfThePermitIsAccepted(t *testing.T) {
	post := func(b *bed, path, body string) (int, string) {
		status, _, text := b.ask("POST", path, b.operate, body)
		return status, text
	}
	for name, c := range map[string]struct {
		prepare func(b *bed, r *stepped)
		buttons []string // and no other
	}{
		"off":   {func(*bed, *stepped) {}, []string{"give"}},
		"given": {func(b *bed, _ *stepped) { post(b, "/api/permit", `{"action":"give"}`) }, []string{"withdraw", "proof-test"}},
		"in a proof test": {func(b *bed, _ *stepped) {
			post(b, "/api/permit", `{"action":"give"}`)
			post(b, "/api/permit", `{"action":"proof-test"}`)
		}, []string{"withdraw"}},
		"an alarm out of service": {func(b *bed, _ *stepped) { post(b, "/api/alarms/warm/out-of-service", "{}") }, []string{"give warm"}},
		"two out of service": {func(b *bed, _ *stepped) {
			post(b, "/api/alarms/warm/out-of-service", "{}")
			post(b, "/api/alarms/head-lost/out-of-service", "{}")
		}, []string{"give head-lost warm"}},
		"given without one": {func(b *bed, _ *stepped) {
			post(b, "/api/alarms/warm/out-of-service", "{}")
			post(b, "/api/permit", `{"action":"give","without":["warm"]}`)
		}, []string{"withdraw", "proof-test"}},
		"out of service after it was given": {func(b *bed, _ *stepped) {
			post(b, "/api/permit", `{"action":"give"}`)
			post(b, "/api/alarms/warm/out-of-service", "{}")
		}, []string{"give warm"}},
		"tripped while shelved": {func(b *bed, r *stepped) {
			post(b, "/api/alarms/warm/shelve", `{"for":"30 min","reason":"a test"}`)
			for range 40 {
				r.measure(65, 255)
			}
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			begin := func() *bed {
				r := newStepped(t)
				b := steppedBed(t, r)
				r.measure(40, 255)
				c.prepare(b, r)
				return b
			}
			_, _, page := begin().ask("GET", "/", "", "")
			var shown []string
			for _, m := range permitButton.FindAllStringSubmatch(page, -1) {
				shown = append(shown, strings.TrimSpace(m[1]+" "+m[2]))
				body := `{"action":"` + m[1] + `"}`
				if m[2] != "" {
					body = `{"action":"` + m[1] + `","without":["` + strings.ReplaceAll(m[2], " ", `","`) + `"]}`
				}
				if status, text := post(begin(), "/api/permit", body); status != 200 {
					t.Errorf("%s: %d %s", body, status, text)
				}
			}
			if !slices.Equal(shown, c.buttons) {
				t.Errorf("buttons %q, want %q", shown, c.buttons)
			}
		})
	}
}

// TestAlarmMetricsByState: what a metrics server sees of each state, and of the
// permit that the alarm holds.
func TestAlarmMetricsByState(t *testing.T) {
	for state, want := range map[alarm.State][4]int{ // active, unacknowledged, shelved, out of service
		alarm.Normal: {0, 0, 0, 0}, alarm.Unacknowledged: {1, 1, 0, 0}, alarm.Acknowledged: {1, 0, 0, 0},
		alarm.ReturnedUnacknowledged: {0, 1, 0, 0}, alarm.LatchedUnacknowledged: {1, 1, 0, 0}, alarm.LatchedAcknowledged: {1, 0, 0, 0},
		alarm.Shelved: {0, 0, 1, 0}, alarm.Suppressed: {0, 0, 0, 1}, alarm.OutOfService: {0, 0, 0, 1},
	} {
		for _, name := range []string{"water-overheat", "left-the-file"} {
			r := newStepped(t, daq.SavedAlarm{Name: name, State: state.String(), Tripped: true, Until: time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC), Since: time.Date(2026, 3, 4, 8, 0, 0, 0, time.UTC)})
			b := steppedBed(t, r)
			_, _, text := b.ask("GET", "/metrics", "", "")
			labels := `{alarm="` + name + `",priority="high"} `
			for i, metric := range []string{"flowrig_alarm_active", "flowrig_alarm_unacknowledged", "flowrig_alarm_shelved", "flowrig_alarm_out_of_service"} {
				if line := fmt.Sprintf("\n%s%s%d\n", metric, labels, want[i]); !strings.Contains(text, line) {
					t.Errorf("%s %s: no line %q", name, state, line)
				}
			}
			if !strings.Contains(text, "\nflowrig_permit_tripped"+labels+"1\n") {
				t.Errorf("%s %s holds the permit, and no series says so", name, state)
			}
		}
	}
}

// TestPermitMetrics: given, in a proof test, given without an alarm.
func TestPermitMetrics(t *testing.T) {
	r := newStepped(t)
	b := steppedBed(t, r)
	r.measure(40, 255)
	const of = `{rig="bench-3",site="north-hall"} `
	for _, step := range []struct {
		path, body string
		lines      []string
	}{
		{"/api/alarms/warm/out-of-service", "{}", []string{"permit_given" + of + "0", "permit_proof_test" + of + "0", `permit_without{alarm="warm",priority="high"} 0`}},
		{"/api/permit", `{"action":"give","without":["warm"]}`, []string{"permit_given" + of + "1", `permit_without{alarm="warm",priority="high"} 1`, `permit_without{alarm="head-lost",priority="high"} 0`}},
		{"/api/permit", `{"action":"proof-test"}`, []string{"permit_given" + of + "1", "permit_proof_test" + of + "1", "heating_permitted" + of + "0"}},
	} {
		if status, _, text := b.ask("POST", step.path, b.operate, step.body); status != 200 {
			t.Fatal(text)
		}
		_, _, text := b.ask("GET", "/metrics", "", "")
		for _, line := range step.lines {
			if !strings.Contains(text, "\nflowrig_"+line+"\n") {
				t.Errorf("after %s: no line %q", step.body, line)
			}
		}
	}
	if _, _, text := testBed(t, nil).ask("GET", "/metrics", "", ""); strings.Contains(text, "flowrig_permit_") {
		t.Error("without an output there are metrics of a permit")
	}
}
