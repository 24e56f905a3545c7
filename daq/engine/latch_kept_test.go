package engine

import (
	"maps"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// restarted is a bench that begins from what the journal holds of another one.
func restarted(t *testing.T, b *heated) *heated {
	t.Helper()
	again := newHeated(t, b.lastEvents()...)
	again.events = append(again.events, b.events...) // the journal goes on
	again.run(time.Second, 1.2, b.celsius(), 255)
	return again
}

// reloaded is a bench under the same configuration with one text in place of
// another.
func reloaded(old, new string) func(*testing.T, *heated) *heated {
	return func(t *testing.T, b *heated) *heated {
		t.Helper()
		text := strings.Replace(heatedText, old, new, 1)
		if text == heatedText {
			t.Fatalf("%q is not in the configuration", old)
		}
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, text)}})
		b.run(time.Second, 1.2, b.celsius(), 255)
		return b
	}
}

// celsius is the temperature that was read last.
func (b *heated) celsius() float64 { return b.value(quantity.Temperature) }

var silencings = map[string]struct{ silence, back daq.Verb }{
	"shelved":        {daq.Shelve, daq.Unshelve},
	"out of service": {daq.OutOfService, daq.ReturnToService},
}

// A trip is not reset before a person has acknowledged its alarm, whatever
// silenced the alarm meanwhile and whether the program was restarted or reloaded
// under the silence.
func TestATripIsNotResetUnseen(t *testing.T) {
	overheats := func(b *heated) {
		b.run(3*time.Second, 1.2, 76, 255)
		b.run(5*time.Second, 1.2, 72, 255)
	}
	loses := func(b *heated) { // an instrument's fault does not latch
		for range 15 {
			b.at += 200 * time.Millisecond
			b.fault(quantity.Temperature, daq.ReasonTimeout, "no answer")
			b.read(quantity.Level, 4000+255*40)
			b.step(daq.Input{Kind: daq.KindTick})
			b.step(daq.Input{Kind: daq.KindOutput, Output: &daq.Output{On: b.state.Permit}})
		}
		b.run(time.Second, 1.2, 50, 255)
	}
	between := map[string]func(*testing.T, *heated) *heated{
		"nothing":                     func(_ *testing.T, b *heated) *heated { return b },
		"a restart":                   restarted,
		"two restarts":                func(t *testing.T, b *heated) *heated { return restarted(t, restarted(t, b)) },
		"a reload without latches":    reloaded("[trip]", "[alarms.water-overheat]\nlatch = false\n[alarms.instrument-fault-temperature]\nlatch = false\n[trip]"),
		"a reload with latches":       reloaded("[trip]", "[alarms.water-overheat]\nlatch = true\n[alarms.instrument-fault-temperature]\nlatch = true\n[trip]"),
		"a reload that trips no more": reloaded("[trip]", "[alarms.water-overheat]\ntrip = false\n[alarms.instrument-fault-temperature]\ntrip = false\n[trip]"),
	}
	for name, danger := range map[string]func(*heated){"water-overheat": overheats, "instrument-fault-temperature": loses} {
		for how, verbs := range silencings {
			for first := range map[string]bool{"silenced behind it": true, "silenced before it": true} {
				for what, change := range maps.All(between) {
					t.Run(name+", "+how+", "+first+", "+what, func(t *testing.T) {
						b := given(t)
						do := func(verb daq.Verb, refusal string) {
							t.Helper()
							b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: asked(verb, name)}})
							got := b.e.Reply().Error
							if (refusal == "") != (got == "") || !strings.Contains(got, refusal) {
								t.Errorf("%s: %q, want %q", verb, got, refusal)
							}
						}
						if first == "silenced before it" {
							if verbs.silence == daq.OutOfService {
								return // one that is out of service does not trip
							}
							do(verbs.silence, "")
							danger(b)
						} else {
							danger(b)
							do(verbs.silence, "")
						}
						b = change(t, b)
						do(daq.Reset, "bring it back first")
						do(verbs.back, "")
						do(daq.Reset, "acknowledge first")
						do(daq.Give, "a trip stands")
						do(daq.Acknowledge, "")
						do(daq.Reset, "")
						do(daq.Give, "")
					})
				}
			}
		}
	}
}

// What came and went while an alarm was shelved owes a person nothing where it took no
// permit away; where it would have, it is acknowledged before the trip that stands
// from an earlier time is reset.
func TestWhatCameAndWentInSilence(t *testing.T) {
	const faulty = "instrument-fault-temperature"
	fast := func(b *heated) { b.run(5*time.Second, 4, 50, 255) }
	loses := func(b *heated) {
		b.dead = map[quantity.ID]bool{quantity.Temperature: true}
		b.run(4*time.Second, 1.2, 50, 255)
		b.dead = nil
	}
	for _, c := range []struct {
		name, text, alarm string
		comes             func(*heated)
	}{
		{"it trips nothing", heatedText + "[alarms.fast-flow]\non = \"flow\"\nabove = \"3 L/min\"\n", "fast-flow", fast},
		{"there is no permit", benchText, faulty, loses},
	} {
		b := &heated{bench: benchWith(t, c.text), supply: 4}
		b.run(time.Second, 1.2, 50, 255)
		b.shelve(c.alarm)
		c.comes(b)
		if a := b.state.Alarms; len(a) != 1 || !a[0].CauseStands {
			t.Errorf("%s: %+v, want one whose cause stands", c.name, a)
		}
		b.run(time.Second, 1.2, 50, 255)
		b.do(daq.Unshelve, c.alarm)
		if a := b.state.Alarms; len(a) != 0 {
			t.Errorf("%s: %+v, want none that is not normal", c.name, a)
		}
	}
	b := given(t)
	loses(b)
	b.run(time.Second, 1.2, 50, 255)
	b.must(b.do(daq.Acknowledge, faulty))
	b.shelve(faulty)
	loses(b)
	b.run(time.Second, 1.2, 50, 255)
	b.do(daq.Unshelve, faulty)
	if why := b.do(daq.Reset, faulty); !strings.Contains(why, "acknowledge first") {
		t.Errorf("reset of what nobody saw: %q", why)
	}
}

// An alarm that latches and trips nothing keeps its latch too, though it came
// while it was silent and nothing was told of it.
func TestALatchThatCameInSilenceIsKept(t *testing.T) {
	text := heatedText + "[alarms.fast-flow]\non = \"flow\"\nabove = \"3 L/min\"\nlatch = true\n"
	for how, verbs := range silencings {
		b := &heated{bench: benchWith(t, text), supply: 4}
		b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.AskAlarm(verbs.silence, "fast-flow", "", time.Hour)}})
		for range 3 {
			b.run(5*time.Second, 4, 50, 255)
			b.run(5*time.Second, 1.2, 50, 255)
		}
		if n := len(b.alarms()); n != 2 {
			t.Errorf("%s: %d events %v, want two: silenced, latched beneath", how, n, b.alarms())
		}
		again := &heated{bench: benchWith(t, text, b.lastEvents()...), supply: 4}
		again.run(time.Second, 1.2, 50, 255)
		again.do(verbs.back, "fast-flow")
		if len(again.state.Alarms) != 1 || again.state.Alarms[0].State != "latched-unacknowledged" {
			t.Errorf("%s, a restart, and back: %+v, want it latched", how, again.state.Alarms)
		}
	}
}

// A recording of before says of a silenced alarm no more than that. The safe side is
// that it had latched and nobody had acknowledged it.
func TestAnOldRecordingOfASilencedAlarm(t *testing.T) {
	for _, c := range []struct {
		saved daq.SavedAlarm
		back  daq.Verb
		want  string // the state afterwards; "" for normal
	}{
		{daq.SavedAlarm{Name: "water-overheat", State: "shelved", Since: dayOne, Until: dayOne.Add(time.Hour)}, daq.Unshelve, "latched-unacknowledged"},
		{daq.SavedAlarm{Name: "water-overheat", State: "out-of-service", Since: dayOne}, daq.ReturnToService, "latched-unacknowledged"},
		{daq.SavedAlarm{Name: "instrument-fault-flow", State: "out-of-service", Since: dayOne}, daq.ReturnToService, ""},
		{daq.SavedAlarm{Name: "instrument-fault-level", State: "out-of-service", Since: dayOne, Tripped: true}, daq.ReturnToService, "returned-unacknowledged"},
		{daq.SavedAlarm{Name: "heater-too-long", State: "out-of-service", Since: dayOne, Tripped: true}, daq.ReturnToService, "latched-unacknowledged"},
	} {
		b := newHeated(t, c.saved)
		b.run(time.Second, 1.2, 50, 255)
		b.do(c.back, c.saved.Name)
		got := ""
		for _, a := range b.state.Alarms {
			got = a.State
		}
		if got != c.want {
			t.Errorf("%+v: %q, want %q", c.saved, got, c.want)
		}
	}
}

// The first of those that stand is the same one after a restart, in whatever order
// the recording names them and however often, and an acknowledgement does not change
// it.
func TestFirstOutOutlivesARestart(t *testing.T) {
	first := func(b *bench) string {
		name := ""
		for _, a := range b.state.Alarms {
			if a.FirstOut {
				name += a.Name
			}
		}
		return name
	}
	for _, order := range [][2]string{{"water-overheat", "head-lost"}, {"head-lost", "water-overheat"}} {
		b := newHeated(t)
		hot, low := 50.0, 255.0
		for _, name := range order {
			if name == "head-lost" {
				low = 200
			} else {
				hot = 80
			}
			b.run(3*time.Second, 1.2, hot, low)
		}
		b.do(daq.Acknowledge, order[0])
		for n := range 3 {
			if got := first(b.bench); got != order[0] {
				t.Errorf("after %d restarts: first out %q, want %q", n, got, order[0])
			}
			journal := b.events
			b = newHeated(t, b.lastEvents()...)
			b.events = append(b.events, journal...)
			b.run(3*time.Second, 1.2, hot, low)
		}
		// A third alarm comes behind them, and is the first once they are gone.
		for range 15 {
			b.at += 200 * time.Millisecond
			b.read(quantity.HeaterOn, 0)
			b.read(quantity.SupplyFlow, 4)
			b.fault(quantity.Flow, daq.ReasonTimeout, "no answer")
			b.read(quantity.Temperature, hot*10)
			b.read(quantity.Level, 4000+low*40)
			b.step(daq.Input{Kind: daq.KindTick})
		}
		if got := first(b.bench); got != order[0] || len(b.state.Alarms) != 3 {
			t.Errorf("with a third: first out %q of %d, want %q of 3", got, len(b.state.Alarms), order[0])
		}
	}
}

// An alarm that came while it was shelved, and is told later, came when it came.
func TestFirstOutOfAShelvedAlarm(t *testing.T) {
	b := newHeated(t)
	b.shelve("water-overheat")
	b.run(3*time.Second, 1.2, 50, 200) // head-lost comes first
	b.run(3*time.Second, 1.2, 80, 200)
	b.do(daq.Unshelve, "water-overheat")
	b.run(time.Second, 1.2, 80, 200)
	for _, a := range b.state.Alarms {
		if a.FirstOut != (a.Name == "head-lost") {
			t.Errorf("%s: first out %v", a.Name, a.FirstOut)
		}
	}
}

// An alarm of this run came behind those of the runs before.
func TestFirstOutOfTwoRuns(t *testing.T) {
	b := newHeated(t, daq.SavedAlarm{Name: "instrument-fault-level", State: "returned-unacknowledged", Since: dayOne, Raised: 5},
		daq.SavedAlarm{Name: "instrument-fault-flow", State: "returned-unacknowledged", Since: dayOne, Raised: 3})
	b.run(3*time.Second, 1.2, 80, 255)
	if len(b.state.Alarms) != 3 {
		t.Fatalf("alarms %+v, want three", b.state.Alarms)
	}
	for _, a := range b.state.Alarms {
		if a.FirstOut != (a.Name == "instrument-fault-flow") {
			t.Errorf("%s: first out %v", a.Name, a.FirstOut)
		}
	}
}

// A shelved alarm that stands trips with the reload that lets it, and a person must
// see that before the reset.
func TestAReloadArmsAShelvedAlarm(t *testing.T) {
	b := given(t)
	reloaded("[trip]", "[alarms.water-overheat]\ntrip = false\nlatch = false\n[trip]")(t, b)
	b.shelve("water-overheat")
	b.run(5*time.Second, 1.2, 80, 255)
	if !b.permitted() {
		t.Fatal("it trips before the reload: the test shows nothing")
	}
	reloaded("[trip]", "[alarms.water-overheat]\nlatch = false\n[trip]")(t, b)
	if b.permitted() {
		t.Error("it does not trip after the reload")
	}
	b.run(5*time.Second, 1.2, 72, 255)
	b.do(daq.Unshelve, "water-overheat")
	if why := b.do(daq.Reset, "water-overheat"); !strings.Contains(why, "acknowledge first") {
		t.Errorf("reset: %q, want an acknowledgement first", why)
	}
}
