package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

var heatedText = benchText + `
[instruments.heater_on]
port = "bus"
modbus = {address = 9, table = "discrete", register = 0}
[instruments.supply_flow]
port = "bus"
modbus = {address = 4, table = "input", register = 0, type = "float32"}
unit = "L/min"
range = ["0 L/min", "10 L/min"]
accuracy = {of_reading = "1 %"}
[trip]
port = "bus"
modbus = {address = 9, coil = 0}
`

// heated is a bench with a heating permit, whose relay answers at once unless
// it is deaf.
type heated struct {
	*bench
	relay    bool
	deaf     bool
	welded   bool
	off      bool             // the thermostat pauses
	blind    bool             // nothing tells whether the heater is on
	every    time.Duration    // between two readings of the temperature; 0: each interval
	readAt   time.Duration    // when the temperature is read next
	hold     time.Duration    // how long a pulsed relay holds; 0: it is a coil
	pulsed   time.Duration    // when it was pulsed last
	supply   float64          // L/min
	supplyOn float64          // the contact of the supply, where there is one
	heard    func(*daq.State) // each state; nil: nobody

	dead map[quantity.ID]bool // instruments that do not answer
}

// read takes the reading of an instrument, or its silence.
func (b *heated) read(id quantity.ID, number float64) {
	if b.dead[id] {
		b.fault(id, daq.ReasonTimeout, "no answer")
		return
	}
	b.bench.read(id, number)
}

func newHeated(t *testing.T, restored ...daq.SavedAlarm) *heated {
	t.Helper()
	return &heated{bench: benchWith(t, heatedText, restored...), supply: 4}
}

// run plays 200 ms intervals, with the relay's answer after each tick.
func (b *heated) run(length time.Duration, lpm, celsius, millimeters float64) {
	for end := b.at + length; b.at < end; {
		heater := 0.0
		if (b.relay || b.welded) && !b.off {
			heater = 1
		}
		b.at += 200 * time.Millisecond
		if !b.blind {
			b.read(quantity.HeaterOn, heater)
		}
		b.read(quantity.SupplyFlow, b.supply)
		b.read(quantity.SupplyOn, b.supplyOn)
		b.read(quantity.Flow, lpm)
		if b.at >= b.readAt {
			b.read(quantity.Temperature, celsius*10)
			b.readAt += b.every
		}
		b.read(quantity.Level, 4000+millimeters*40)
		b.step(daq.Input{Kind: daq.KindTick})
		if b.heard != nil {
			b.heard(&b.state)
		}
		if !b.deaf {
			if b.state.Permit {
				b.pulsed = b.at
			}
			b.relay = b.state.Permit || b.at-b.pulsed < b.hold
			b.step(daq.Input{Kind: daq.KindOutput, Output: &daq.Output{On: b.state.Permit}})
		}
	}
}

// do gives a command and its refusal, "" when it was done.
func (b *heated) do(verb daq.Verb, name string) string {
	b.t.Helper()
	b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: asked(verb, name)}})
	if b.e.Reply() == nil {
		b.t.Fatalf("%s %s: no reply", verb, name)
	}
	return b.e.Reply().Error
}

func (b *heated) permitted() bool {
	v, known := b.state.Values.Get(quantity.HeatingPermitted)
	if !known {
		b.t.Fatal("heating_permitted is unknown although there is a permit")
	}
	return v != 0
}

// givenEvery is given with a thermometer that is read less often.
func givenEvery(t *testing.T, every time.Duration) *heated {
	t.Helper()
	text := strings.Replace(heatedText, "[instruments.temperature]\n", fmt.Sprintf("[instruments.temperature]\nevery = \"%g s\"\n", every.Seconds()), 1)
	b := &heated{bench: benchWith(t, text), supply: 4, every: every}
	b.run(time.Minute, 1.2, 50, 255)
	b.must(b.do(daq.Give, ""))
	b.run(time.Second, 1.2, 50, 255)
	return b
}

// given is a bench at 50 °C whose permit a person gave.
func given(t *testing.T) *heated {
	t.Helper()
	b := newHeated(t)
	b.run(time.Second, 1.2, 50, 255)
	if b.permitted() {
		t.Fatal("the permit is on at the start")
	}
	b.must(b.do(daq.Give, ""))
	b.run(time.Second, 1.2, 50, 255)
	if !b.permitted() {
		t.Fatal("the permit was given and is not on")
	}
	return b
}

func TestATripDropsAndHolds(t *testing.T) {
	b := given(t)
	b.run(2200*time.Millisecond, 1.2, 76, 255)
	if b.permitted() || b.state.Permit {
		t.Fatal("the permit stands after water-overheat")
	}
	b.run(10*time.Second, 1.2, 72, 255)
	for _, c := range []struct {
		verb  daq.Verb
		alarm string
		want  string // part of the refusal; "" for none
	}{
		{daq.Give, "", "a trip stands: water-overheat"},
		{daq.Reset, "water-overheat", "acknowledge first"},
		{daq.Acknowledge, "water-overheat", ""},
		{daq.Give, "", "a trip stands"},
		{daq.Reset, "water-overheat", ""},
	} {
		if got := b.do(c.verb, c.alarm); !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%s %s: %q, want %q", c.verb, c.alarm, got, c.want)
		}
	}
	b.run(time.Second, 1.2, 50, 255)
	if b.permitted() {
		t.Error("the reset gave the permit by itself")
	}
	b.must(b.do(daq.Give, ""))
}

// TestTheLatchOutlivesAnUnlatchedAlarm: instrument faults trip and do not latch;
// the permit's own latch holds until the reset all the same, over a restart too.
func TestTheLatchOutlivesAnUnlatchedAlarm(t *testing.T) {
	b := given(t)
	for range 15 {
		b.at += 200 * time.Millisecond
		b.fault(quantity.Temperature, daq.ReasonTimeout, "no answer")
		b.read(quantity.Level, 4000+255*40)
		b.step(daq.Input{Kind: daq.KindTick})
		b.step(daq.Input{Kind: daq.KindOutput, Output: &daq.Output{On: b.state.Permit}})
	}
	b.run(time.Second, 1.2, 50, 255)
	b.do(daq.Acknowledge, "instrument-fault-temperature")
	var saved daq.SavedAlarm
	for _, e := range b.events {
		if e.Alarm != nil && e.Alarm.Name == "instrument-fault-temperature" {
			saved = daq.SavedAlarm{Name: e.Alarm.Name, State: e.Alarm.State, Since: e.Alarm.Time, Tripped: e.Alarm.Tripped}
		}
	}
	if saved.State != "normal" || !saved.Tripped {
		t.Fatalf("last event %+v, want normal and still holding the latch", saved)
	}
	b = newHeated(t, saved)
	b.run(time.Second, 1.2, 50, 255)
	if why := b.do(daq.Give, ""); !strings.Contains(why, "instrument-fault-temperature") {
		t.Errorf("after the restart: %q, want the trip that stands", why)
	}
	b.must(b.do(daq.Reset, "instrument-fault-temperature"))
	b.must(b.do(daq.Give, ""))
}

func TestThePermitFallsWithTheProgramAndTheRelay(t *testing.T) {
	t.Run("the program stood still", func(t *testing.T) {
		b := given(t)
		b.at += 3200 * time.Millisecond
		b.run(200*time.Millisecond, 1.2, 50, 255)
		if b.permitted() || b.e.permit.given {
			t.Error("the permit outlived a suspension longer than the watchdog")
		}
	})
	t.Run("the relay does not answer", func(t *testing.T) {
		b := given(t)
		b.deaf = true
		b.run(3400*time.Millisecond, 1.2, 50, 255)
		if b.permitted() || b.e.permit.given {
			t.Error("the permit outlived a relay that is silent for longer than its watchdog")
		}
	})
	t.Run("a person withdraws it", func(t *testing.T) {
		b := given(t)
		if why := b.do(daq.Withdraw, ""); why != "" || b.state.Permit {
			t.Errorf("withdrawn: %q, demand %v", why, b.state.Permit)
		}
	})
}

func TestProofTestDropsAndRestores(t *testing.T) {
	b := given(t)
	b.must(b.do(daq.ProofTest, ""))
	b.run(time.Second, 1.2, 50, 255)
	if b.relay || b.permitted() {
		t.Error("the proof test did not drop the permit")
	}
	b.run(3*time.Second, 1.2, 50, 255)
	if !b.relay || !b.permitted() {
		t.Error("the proof test did not restore the permit")
	}
	var notes []string
	for _, e := range b.events {
		if e.Note != nil && strings.Contains(e.Note.Text, "proof test") {
			notes = append(notes, e.Note.Text)
		}
	}
	if len(notes) != 2 || !strings.Contains(notes[1], "the relay confirmed that it dropped") {
		t.Errorf("notes %q", notes)
	}
}

func TestWeldedRelay(t *testing.T) {
	b := given(t)
	b.welded = true
	b.run(2400*time.Millisecond, 1.2, 76, 255)
	b.run(31*time.Second, 1.2, 76, 255)
	if got := b.alarms(); !slices.Contains(got, "trip-ineffective unacknowledged") {
		t.Errorf("alarms %v, want trip-ineffective 30 s after the drop", got)
	}
}

func TestHeatingWithoutSupply(t *testing.T) {
	b := given(t)
	b.supply = 0.05
	b.run(2400*time.Millisecond, 0, 50, 255)
	if got := b.alarms(); !slices.Contains(got, "heating-without-supply unacknowledged") || b.permitted() {
		t.Errorf("alarms %v, permitted %v", got, b.permitted())
	}
}

func TestAShutTubeValveIsNormalPreheating(t *testing.T) {
	b := given(t)
	b.run(10*time.Minute, 0, 50, 255)
	if got := b.alarms(); len(got) > 0 || !b.permitted() {
		t.Errorf("alarms %v, permitted %v", got, b.permitted())
	}
}

// says holds an alarm's value and the sentence behind its cause.
func (b *heated) says(name string, value float64, sentence string) {
	b.t.Helper()
	if a := b.status(name); !strings.HasSuffix(a.Cause, " "+sentence) || a.Value == nil || math.Abs(*a.Value-value) > 0.01 {
		b.t.Errorf("%s of %v: %q; want %v, %q", name, a.Value, a.Cause, value, sentence)
	}
}

func TestProbeOutOfTheWater(t *testing.T) {
	// A probe of first order that leaves water of 50 °C for a room of 21 °C.
	for _, lag := range []float64{0.1, 1, 2, 4, 8, 16, 30} {
		t.Run(fmt.Sprintf("it falls with a lag of %v s", lag), func(t *testing.T) {
			b := given(t)
			b.run(10*time.Second, 1.2, 50, 255)
			began := b.at
			for b.permitted() && b.at < began+15*time.Second {
				b.run(200*time.Millisecond, 1.2, 21+29*math.Exp(-(b.at-began).Seconds()/lag), 255)
			}
			t.Logf("dropped after %v", b.at-began)
			if got := b.alarms(); !slices.Contains(got, "temperature-implausible unacknowledged") || b.at-began > 10*time.Second {
				t.Errorf("alarms %v, permitted %v after %v", got, b.permitted(), b.at-began)
			}
		})
	}
	// A thermometer that is read less often is judged over as many readings.
	for _, c := range []struct {
		every time.Duration
		lags  []float64
	}{
		{2 * time.Second, []float64{0.1, 4, 8, 16}},
		{2200 * time.Millisecond, []float64{0.1, 4, 8, 16}},
		{3 * time.Second, []float64{0.1, 4, 8, 16}},
		{5 * time.Second, []float64{0.1, 4, 8}}, // beyond it the configuration warns: a slow probe is not found
	} {
		for _, lag := range c.lags {
			t.Run(fmt.Sprintf("read every %v it falls with a lag of %v s", c.every, lag), func(t *testing.T) {
				b := givenEvery(t, c.every)
				began := b.at
				for b.permitted() && b.at < began+20*c.every {
					b.run(200*time.Millisecond, 1.2, 21+29*math.Exp(-(b.at-began).Seconds()/lag), 255)
				}
				if got := b.alarms(); !slices.Contains(got, "temperature-implausible unacknowledged") {
					t.Errorf("alarms %v after %v", got, b.at-began)
				}
				t.Logf("dropped after %v", b.at-began)
				if lag < 1 && b.at-began > 3*c.every {
					t.Errorf("dropped after %v: two readings in the air tell", b.at-began)
				}
			})
		}
	}
	t.Run("a dip of a second is no fall", func(t *testing.T) {
		b := given(t)
		b.run(10*time.Second, 1.2, 50, 255)
		b.run(time.Second, 1.2, 30, 255)
		b.run(10*time.Second, 1.2, 50, 255)
		if got := b.alarms(); len(got) > 0 || !b.permitted() {
			t.Errorf("alarms %v, permitted %v", got, b.permitted())
		}
	})
	t.Run("no answer to heating from cold", func(t *testing.T) {
		b := given(t)
		b.do(daq.Withdraw, "")
		for celsius := 50.0; celsius > 21; celsius -= 0.3 {
			b.run(time.Second, 1.2, celsius, 255)
		}
		b.must(b.do(daq.Give, ""))
		b.run(5*time.Minute-2*time.Second, 1.2, 21, 255)
		if got := b.alarms(); len(got) > 0 || !b.permitted() {
			t.Errorf("alarms %v before its time, permitted %v", got, b.permitted())
		}
		b.run(5*time.Second, 1.2, 21, 255)
		if got := b.alarms(); !slices.Contains(got, "temperature-implausible unacknowledged") || b.permitted() {
			t.Errorf("alarms %v, permitted %v", got, b.permitted())
		}
		b.says("temperature-implausible", 21, "The heater has been on for 5 min with water flowing, and it has not risen by 1 K.")
	})
	t.Run("no answer to heating behind noise", func(t *testing.T) {
		b := newHeated(t)
		noisy := func(s float64) (lpm, celsius, millimeters float64) {
			return 1.2, 24 + 0.8*math.Cos(5*math.Pi*s), 255 // up and down with each reading: 1.6 K, and no rise
		}
		b.play(10*time.Second, noisy)
		b.must(b.do(daq.Give, ""))
		b.play(5*time.Minute+2*time.Second, noisy)
		if got := b.alarms(); !slices.Contains(got, "temperature-implausible unacknowledged") || b.permitted() {
			t.Errorf("alarms %v, permitted %v", got, b.permitted())
		}
	})
	t.Run("a contact that was silent shows no start", func(t *testing.T) {
		b := newHeated(t)
		b.run(time.Second, 1.2, 24, 255)
		b.must(b.do(daq.Give, ""))
		b.run(10*time.Second, 1.2, 24, 255)
		b.run(time.Minute, 1.2, 25, 255)
		b.blind = true
		b.run(5*time.Second, 1.2, 25, 255)
		b.blind = false
		b.run(6*time.Minute, 1.2, 25, 255)
		if got := strings.Join(b.alarms(), ", "); strings.Contains(got, "temperature-implausible") || !b.permitted() {
			t.Errorf("alarms %v, permitted %v: water that is held at 25 °C", got, b.permitted())
		}
	})
	t.Run("a thermostat that holds is no silence", func(t *testing.T) {
		b := given(t)
		for range 20 { // on for a minute, off for half a minute
			b.off = false
			b.run(time.Minute, 1.2, 50, 255)
			b.off = true
			b.run(30*time.Second, 1.2, 50, 255)
		}
		if got := b.alarms(); len(got) > 0 || !b.permitted() {
			t.Errorf("alarms %v, permitted %v", got, b.permitted())
		}
	})
}

func TestChatteringIsNamed(t *testing.T) {
	b := newBench(t)
	for range 3 {
		b.run(2400*time.Millisecond, 1.2, 42, 225)
		b.run(time.Second, 1.2, 42, 255)
	}
	var named bool
	for _, e := range b.events {
		named = named || e.Note != nil && e.Note.Kind == "chattering"
	}
	if !named || !b.state.Alarms[0].Chattering || !b.state.Alarms[0].FirstOut {
		t.Errorf("named %v, alarms %+v", named, b.state.Alarms)
	}
}

// Chattering is three times within a minute, whenever in the day: it is named with
// the third, not again while it goes on, and lasts until a minute after the first of
// the last three.
func TestChatteringIsThreeTimesWithinAMinute(t *testing.T) {
	const low, delay = 2400 * time.Millisecond, 2200 * time.Millisecond // of the level; until it counts
	for _, c := range []struct {
		every time.Duration
		times int
		notes int
	}{{29 * time.Second, 2, 0}, {10 * time.Second, 3, 1}, {30 * time.Second, 3, 1}, {31 * time.Second, 6, 0}, {10 * time.Second, 6, 1}} {
		b := newBench(t)
		b.run(5*time.Minute, 1.2, 42, 255)
		began := b.at
		for n := range c.times {
			b.run(began+time.Duration(n)*c.every-b.at, 1.2, 42, 255)
			b.run(low, 1.2, 42, 225)
		}
		notes := 0
		for _, e := range b.events {
			if e.Note != nil && e.Note.Kind == "chattering" {
				notes++
			}
		}
		if notes != c.notes {
			t.Errorf("%d times, one each %v: %d notes, want %d", c.times, c.every, notes, c.notes)
		}
		end := began + time.Duration(c.times-3)*c.every + delay + time.Minute
		b.run(end-b.at, 1.2, 42, 255)
		if within := b.at == end && c.notes > 0; b.state.Alarms[0].Chattering != within {
			t.Errorf("%d times, one each %v: chattering %v, want %v", c.times, c.every, !within, within)
		}
		b.run(200*time.Millisecond, 1.2, 42, 255)
		if b.state.Alarms[0].Chattering {
			t.Errorf("%d times, one each %v: it still chatters after the minute", c.times, c.every)
		}
	}
}
