package engine

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// proven is a bench at 50 °C that heats with a permit output of its own.
func proven(t *testing.T, trip string) *heated {
	t.Helper()
	before, _, found := strings.Cut(heatedText, "[trip]")
	if !found {
		t.Fatal("the table [trip] is not where it was")
	}
	b := &heated{bench: benchWith(t, before+"[trip]\nport = \"bus\"\n"+trip), supply: 4}
	b.run(time.Second, 1.2, 50, 255)
	b.must(b.do(daq.Give, ""))
	b.run(time.Second, 1.2, 50, 255)
	return b
}

// proofNotes are the notes that proof tests left.
func (b *bench) proofNotes() []string {
	var notes []string
	for _, e := range b.events {
		if e.Note != nil && strings.Contains(e.Note.Text, "proof test") {
			notes = append(notes, e.Note.Text)
		}
	}
	return notes
}

// Nobody confirms a pulse, and the relay holds its last one for its watchdog:
// only the heater shows what a proof test did.
func TestProofOfAPulsedRelay(t *testing.T) {
	for _, c := range []struct {
		name    string
		trip    string
		hold    time.Duration
		prepare func(b *heated)
		want    string
	}{
		{"it drops", `pulse = "dtr"`, 3 * time.Second, func(*heated) {}, "permit restored: the heater went off"},
		{"it drops late", "pulse = \"dtr\"\nwatchdog = \"20 s\"\nrefresh = \"1 s\"", 20 * time.Second, func(*heated) {}, "permit restored: the heater went off"},
		{"it is welded", `pulse = "dtr"`, 3 * time.Second, func(b *heated) { b.welded = true }, "the heater stayed on: the relay did not drop, do not heat unattended"},
		{"the thermostat pauses", `pulse = "dtr"`, 3 * time.Second, func(b *heated) { b.off = true }, "the heater was off before, which shows nothing"},
		{"nothing tells of the heater", `pulse = "dtr"`, 3 * time.Second, func(b *heated) { b.blind = true }, "nobody confirms a pulse: look whether the heater went off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := proven(t, c.trip)
			b.hold = c.hold
			c.prepare(b)
			b.run(4*time.Second, 1.2, 50, 255)
			b.must(b.do(daq.ProofTest, ""))
			b.run(c.hold+800*time.Millisecond, 1.2, 50, 255)
			if notes := b.proofNotes(); len(notes) != 1 || b.state.Permit {
				t.Fatalf("before the relay's hold time and a second: notes %q, demand %v", notes, b.state.Permit)
			}
			b.run(time.Second, 1.2, 50, 255)
			notes := b.proofNotes()
			if len(notes) != 2 || !strings.Contains(notes[1], c.want) {
				t.Errorf("notes %q, want %q at the end", notes, c.want)
			}
			if !b.permitted() {
				t.Error("the proof test did not restore the permit")
			}
		})
	}
}

// A heater's contact that is read rarely is read twice in a proof test of a pulsed
// relay, behind the relay's hold time.
func TestAProofTestWaitsForTheHeatersContact(t *testing.T) {
	for every, more := range map[string]time.Duration{"200 ms": time.Second, "500 ms": time.Second, "2 s": 4 * time.Second, "10 s": 20 * time.Second} {
		const table = "[instruments.heater_on]\n"
		text := changed(t, table, table+"every = \""+every+"\"\n", "modbus = {address = 9, coil = 0}", `pulse = "dtr"`)
		b := &heated{bench: benchWith(t, text), supply: 4, hold: 3 * time.Second}
		b.run(time.Second, 1.2, 50, 255)
		b.must(b.do(daq.Give, ""))
		b.run(10*time.Second, 1.2, 50, 255)
		b.must(b.do(daq.ProofTest, ""))
		if notes := b.proofNotes(); len(notes) != 1 || !strings.HasSuffix(notes[0], "proof test begun: dropped for "+daq.Seconds(3*time.Second+more)) {
			t.Errorf("every %s: notes %q", every, notes)
		}
		b.run(3*time.Second+more-200*time.Millisecond, 1.2, 50, 255)
		if b.state.Permit {
			t.Errorf("every %s: restored before its time", every)
		}
		if b.run(200*time.Millisecond, 1.2, 50, 255); !b.state.Permit {
			t.Errorf("every %s: not restored after %v", every, 3*time.Second+more)
		}
	}
}

// A proof test is no answer: a relay that falls silent in it is withdrawn within
// its watchdog of its last answer, and one that answers is not withdrawn.
func TestAProofTestIsNoAnswerOfTheRelay(t *testing.T) {
	for _, deaf := range []bool{false, true} {
		b := proven(t, "modbus = {address = 9, coil = 0}\nwatchdog = \"10 s\"\nrefresh = \"1 s\"")
		b.must(b.do(daq.ProofTest, ""))
		began := b.at
		b.deaf = deaf
		for b.e.permit.given && b.at-began < 30*time.Second {
			b.run(200*time.Millisecond, 1.2, 50, 255)
		}
		if took := b.at - began; deaf != (took <= 10*time.Second+400*time.Millisecond) {
			t.Errorf("deaf %v: withdrawn %v after %v, watchdog 10 s", deaf, !b.e.permit.given, took)
		}
	}
}

// A clock that starts in the past does not lengthen the shelving of an alarm.
func TestShelvingEndsThoughTheClockStartsInThePast(t *testing.T) {
	for _, c := range []struct {
		name string
		wall time.Time // at the restart
		want time.Duration
	}{
		{"right", dayOne.Add(10 * time.Minute), 50 * time.Minute},
		{"in the past", time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), time.Hour},
		{"past its end", dayOne.Add(2 * time.Hour), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, err := New(benchConfig(t, benchText), []daq.SavedAlarm{{Name: "head-lost", State: "shelved", Since: dayOne, Until: dayOne.Add(time.Hour)}})
			if err != nil {
				t.Fatal(err)
			}
			in := e.Begin()
			in.Wall = c.wall
			e.Step(in)
			shelved := func(at time.Duration) bool {
				s, _ := e.Step(daq.Input{Kind: daq.KindTick, Mono: at, Wall: c.wall.Add(at)})
				return slices.ContainsFunc(s.Alarms, func(a daq.AlarmStatus) bool { return a.Name == "head-lost" && a.State == "shelved" })
			}
			if c.want > 0 && !shelved(c.want-time.Second) {
				t.Errorf("not shelved a second before %v", c.want)
			}
			if shelved(c.want) {
				t.Errorf("still shelved after %v", c.want)
			}
		})
	}
}

// A blocked tube is not the baseline of a restart: the alarm stands until a
// person says that it is known.
func TestABlockedTubeOutlivesARestart(t *testing.T) {
	text := benchText + "[alarms.tube-blocked]\n"
	begin := func(saved ...daq.SavedAlarm) *bench {
		b := benchWith(t, text, saved...)
		return b
	}
	b := begin()
	b.run(3*time.Minute, 6, 20, 255)
	b.run(time.Minute, 4, 20, 255)
	if len(b.state.Alarms) != 1 || b.state.Alarms[0].Name != "tube-blocked" {
		k, _ := b.state.Values.Get(quantity.LossCoefficient)
		t.Fatalf("alarms %v, loss coefficient %v: want tube-blocked", b.state.Alarms, k)
	}
	b = begin(b.lastEvents()...)
	b.run(3*time.Minute, 4, 20, 255)
	if len(b.state.Alarms) != 1 || b.state.Alarms[0].State != "unacknowledged" {
		t.Errorf("alarms after the restart %+v, want tube-blocked as it was", b.state.Alarms)
	}
	b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.AskAlarm(daq.Acknowledge, "tube-blocked", "", 0)}})
	b.run(time.Minute, 4, 20, 255)
	if len(b.state.Alarms) > 0 {
		t.Errorf("alarms %+v after a person said that it is known", b.state.Alarms)
	}
}
