package engine

import (
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// unsupplied is heatedText without the meter of the supply, and so without the
// alarm heating-without-supply.
func unsupplied(t *testing.T) string {
	t.Helper()
	before, rest, found := strings.Cut(heatedText, "[instruments.supply_flow]")
	_, after, ok := strings.Cut(rest, "[trip]")
	if !found || !ok {
		t.Fatal("the table of the supply's meter is not where it was")
	}
	return before + "[trip]" + after
}

// dry is a bench whose supply ended under heat.
func dry(t *testing.T) *heated {
	t.Helper()
	b := given(t)
	b.supply = 0
	b.run(10*time.Second, 1.2, 50, 255)
	if b.permitted() || b.do(daq.Give, "") == "" {
		t.Fatal("heating-without-supply did not trip")
	}
	return b
}

// A person takes the broken meter out of the configuration. The alarm that it
// had raised still holds the permit, and a person can still end that.
func TestATripOutlivesItsAlarmsConfiguration(t *testing.T) {
	restart := func(b *heated) *heated {
		var saved []daq.SavedAlarm
		for _, e := range b.events {
			if e.Alarm != nil {
				saved = []daq.SavedAlarm{{Name: e.Alarm.Name, State: e.Alarm.State, Since: e.Alarm.Time, Tripped: e.Alarm.Tripped}}
			}
		}
		again := &heated{bench: benchWith(t, unsupplied(t), saved...)}
		return again
	}
	reload := func(b *heated) *heated {
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, unsupplied(t))}})
		return b
	}
	for name, change := range map[string]func(*heated) *heated{"restart": restart, "reload": reload} {
		t.Run(name, func(t *testing.T) {
			b := change(dry(t))
			b.run(2*time.Second, 1.2, 50, 255)
			const gone = "heating-without-supply"
			if len(b.state.Alarms) != 1 || b.state.Alarms[0].Name != gone || b.state.Alarms[0].State != "latched-unacknowledged" {
				t.Fatalf("alarms %+v, want it latched", b.state.Alarms)
			}
			for _, c := range []struct {
				verb daq.Verb
				want string // part of the refusal; "" for none
			}{{daq.Give, "a trip stands: " + gone}, {daq.Reset, "acknowledge first"}, {daq.Acknowledge, ""}, {daq.Reset, ""}, {daq.Give, ""}} {
				if got := b.do(c.verb, gone); !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
					t.Errorf("%s: %q, want %q", c.verb, got, c.want)
				}
			}
			b.run(time.Second, 1.2, 50, 255)
			if !b.permitted() || len(b.state.Alarms) > 0 {
				t.Errorf("permitted %v, alarms %+v", b.permitted(), b.state.Alarms)
			}
			last := b.events[len(b.events)-1]
			for _, e := range b.events {
				if e.Alarm != nil {
					last = e
				}
			}
			if last.Alarm == nil || last.Alarm.Name != gone || last.Alarm.State != "normal" || last.Alarm.Tripped {
				t.Errorf("the journal ends with %+v", last.Alarm)
			}
		})
	}
}

// An alarm that comes back into the configuration watches again.
func TestAnOrphanIsAdopted(t *testing.T) {
	b := dry(t)
	b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, unsupplied(t))}})
	b.run(2*time.Second, 1.2, 50, 255)
	b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, heatedText)}})
	b.supply = 4
	b.run(10*time.Second, 1.2, 50, 255)
	b.do(daq.Acknowledge, "heating-without-supply")
	b.do(daq.Reset, "heating-without-supply")
	b.must(b.do(daq.Give, ""))
	b.supply = 0
	b.run(10*time.Second, 1.2, 50, 255)
	if b.permitted() {
		t.Error("the alarm is configured again and does not watchedAlarm")
	}
}

// What an instrument said last goes with it: a room of 35 °C that nobody measures any
// more is again the assumed one of 20 °C, which cools the water of 60 °C by more.
func TestAReloadForgetsWhatIsGone(t *testing.T) {
	const ambient = "[instruments.ambient]\nport = \"bus\"\nmodbus = {address = 6, table = \"input\", register = 0, type = \"int16\"}\n" +
		"scale = {from = [0, 1000], to = [\"0 Cel\", \"100 Cel\"]}\naccuracy = {fixed = \"0.5 K\"}\n"
	fall := func(text string, reload bool) float64 {
		e, err := New(benchConfig(t, text), nil)
		if err != nil {
			t.Fatal(err)
		}
		b := &bench{t: t, e: e}
		b.step(e.Begin())
		b.read(quantity.Ambient, 350)
		b.run(2*time.Second, 0.22, 60, 255)
		if reload {
			b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, benchText)}})
			b.run(2*time.Second, 0.22, 60, 255)
		}
		return b.value(quantity.TubeTemperatureFall)
	}
	measured, assumed := fall(benchText+ambient, false), fall(benchText, false)
	if !(measured < 0.8*assumed) {
		t.Fatalf("falls %v K with the thermometer and %v K without: the test shows nothing", measured, assumed)
	}
	if after := fall(benchText+ambient, true); after != assumed {
		t.Errorf("%v K after the room's thermometer went, want %v", after, assumed)
	}
}
