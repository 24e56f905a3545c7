package engine

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// giveWithout asks for the permit without some alarms; it gives the refusal.
func (b *heated) giveWithout(names ...string) string {
	b.t.Helper()
	b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: &daq.GiveAsk{Without: names}}})
	if b.e.Reply() == nil {
		b.t.Fatal("no reply")
	}
	return b.e.Reply().Error
}

func (b *heated) must(refusal string) {
	b.t.Helper()
	if refusal != "" {
		b.t.Fatal(refusal)
	}
}

// lastNote is the newest note of the permit.
func (b *heated) lastNote() string {
	for _, e := range slices.Backward(b.events) {
		if e.Note != nil && e.Note.Kind == "permit" {
			return e.Note.Text
		}
	}
	return ""
}

func (b *heated) status(name string) daq.AlarmStatus {
	b.t.Helper()
	i := slices.IndexFunc(b.state.Alarms, func(a daq.AlarmStatus) bool { return a.Name == name })
	if i < 0 {
		b.t.Fatalf("%s is not among %+v", name, b.state.Alarms)
	}
	return b.state.Alarms[i]
}

// While an alarm that trips is out of service the permit is given only to who
// names it and nothing else.
func TestThePermitIsGivenWithoutAnAlarmThatIsNamed(t *testing.T) {
	b := newHeated(t)
	b.run(time.Second, 1.2, 50, 255)
	b.must(b.do(daq.OutOfService, "water-overheat"))
	for _, c := range []struct {
		names []string
		want  string
	}{
		{nil, `water-overheat is out of service and would not drop the permit: return it to service, or name it, "without":["water-overheat"]`},
		{[]string{"head-lost"}, "water-overheat is out of service"},
		{[]string{"water-overheat", "head-lost"}, `without: "head-lost" is not an alarm that trips and is out of service`},
		{[]string{"water-overheat", "nonsense"}, `without: "nonsense" is not`},
	} {
		if got := b.giveWithout(c.names...); !strings.Contains(got, c.want) || b.state.Given {
			t.Errorf("without %v: %q, given %v; want %q", c.names, got, b.state.Given, c.want)
		}
	}
	if !slices.Equal(b.state.Unwatched, []string{"water-overheat"}) {
		t.Errorf("unwatched %v", b.state.Unwatched)
	}
	b.must(b.giveWithout("water-overheat"))
	if got := b.lastNote(); got != "heating permit given without water-overheat, out of service" {
		t.Errorf("the journal has %q", got)
	}
	b.run(5*time.Second, 1.2, 80, 255)
	if !b.permitted() || !slices.Equal(b.state.Without, []string{"water-overheat"}) {
		t.Errorf("permitted %v, without %v", b.permitted(), b.state.Without)
	}
	b.run(5*time.Second, 1.2, 80, 200)
	if b.permitted() || len(b.state.Without) > 0 {
		t.Errorf("the head is lost: permitted %v, without %v", b.permitted(), b.state.Without)
	}
}

// An alarm that does not trip may go out of service at any time.
func TestAnAlarmThatDoesNotTripMayBeOutOfService(t *testing.T) {
	b := given(t)
	b.must(b.do(daq.OutOfService, "instrument-fault-flow"))
	b.run(time.Second, 1.2, 50, 255)
	b.must(b.do(daq.Withdraw, ""))
	b.must(b.do(daq.Give, ""))
	if len(b.state.Unwatched) > 0 {
		t.Errorf("unwatched %v", b.state.Unwatched)
	}
}

// A permit was given on the strength of its alarms: it drops in the step in which
// one of them goes out of service, and may be given again without it.
func TestThePermitDropsWhenItsAlarmGoesOutOfService(t *testing.T) {
	const hot = "water-overheat"
	for name, c := range map[string]struct {
		play  func(b *heated)
		given bool
	}{
		"out of service":  {func(b *heated) { b.must(b.do(daq.OutOfService, hot)) }, false},
		"in a proof test": {func(b *heated) { b.must(b.do(daq.ProofTest, "")); b.must(b.do(daq.OutOfService, hot)) }, false},
		"shelved first":   {func(b *heated) { b.shelve(hot); b.must(b.do(daq.OutOfService, hot)) }, false},
		"shelved":         {func(b *heated) { b.shelve(hot) }, true},
		"given without it, back, and out again": {func(b *heated) {
			b.must(b.do(daq.OutOfService, hot))
			b.must(b.giveWithout(hot))
			b.must(b.do(daq.ReturnToService, hot))
			if !b.state.Given || len(b.state.Without) > 0 {
				b.t.Errorf("back in service: given %v without %v", b.state.Given, b.state.Without)
			}
			b.must(b.do(daq.OutOfService, hot))
		}, false},
		"given without it, another out": {func(b *heated) {
			b.must(b.do(daq.OutOfService, hot))
			b.must(b.giveWithout(hot))
			b.must(b.do(daq.OutOfService, "head-lost"))
		}, false},
		"given without it, and back over the limit": {func(b *heated) {
			b.must(b.do(daq.OutOfService, hot))
			b.must(b.giveWithout(hot))
			b.run(5*time.Second, 1.2, 80, 255)
			b.must(b.do(daq.ReturnToService, hot))
			if !slices.Equal(b.state.Tripped, []string{hot}) {
				b.t.Errorf("tripped %v", b.state.Tripped)
			}
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := given(t)
			c.play(b)
			if b.state.Given != c.given || b.state.Permit != c.given {
				t.Errorf("given %v, demanded %v; want %v (%s)", b.state.Given, b.state.Permit, c.given, b.lastNote())
			}
			if b.run(time.Second, 1.2, 50, 255); b.permitted() != c.given {
				t.Errorf("permitted %v after a second", b.permitted())
			}
		})
	}
	b := given(t)
	b.must(b.do(daq.OutOfService, hot))
	if got := b.lastNote(); got != "heating permit dropped: alarm water-overheat is out of service, and the permit was given with it" {
		t.Errorf("the journal has %q", got)
	}
	b.must(b.giveWithout(hot))
}

// What was said at one start does not hold at the next one; a reload that lets an
// alarm trip which is out of service drops the permit, and one that takes the
// alarm out of the configuration leaves nothing to name.
func TestWithoutAcrossRestartAndReload(t *testing.T) {
	const flow = "instrument-fault-flow"
	b := newHeated(t, daq.SavedAlarm{Name: "water-overheat", State: "out-of-service", Since: dayOne})
	b.run(time.Second, 1.2, 50, 255)
	if why := b.do(daq.Give, ""); !strings.Contains(why, "water-overheat is out of service") {
		t.Errorf("after a restart: %q", why)
	}

	reload := func(b *heated, text string) {
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: benchConfig(t, text)}})
	}
	b = given(t)
	b.must(b.do(daq.OutOfService, flow))
	if !b.state.Given {
		t.Fatal("an alarm that does not trip took the permit")
	}
	reload(b, heatedText+"[alarms.instrument-fault-flow]\ntrip = true\n")
	if b.state.Given || !slices.Equal(b.state.Unwatched, []string{flow}) {
		t.Errorf("it trips since a reload and is out of service: given %v, unwatched %v", b.state.Given, b.state.Unwatched)
	}

	const own = "[alarms.warm]\non = \"temperature\"\nabove = \"70 Cel\"\ntrip = true\n"
	b = given(t)
	reload(b, heatedText+own)
	b.must(b.do(daq.OutOfService, "warm"))
	b.must(b.giveWithout("warm"))
	reload(b, heatedText)
	if !b.state.Given || len(b.state.Without) > 0 || len(b.state.Unwatched) > 0 {
		t.Errorf("it left the configuration: given %v, without %v, unwatched %v", b.state.Given, b.state.Without, b.state.Unwatched)
	}
}

// A shelved alarm is silent, trips, and says both; nobody has acknowledged it.
func TestAShelvedAlarmSaysThatItTrips(t *testing.T) {
	b := given(t)
	b.shelve("water-overheat")
	b.must(b.do(daq.OutOfService, "instrument-fault-flow"))
	if a := b.status("water-overheat"); !a.Trips || a.Tripped || a.Acknowledged || a.Active || a.CauseStands || !a.Until.Equal(b.state.Time.Add(time.Hour)) {
		t.Errorf("shelved: %+v", a)
	}
	b.run(5*time.Second, 1.2, 80, 255)
	if a := b.status("water-overheat"); !a.Trips || !a.Tripped || a.Acknowledged || a.Active || !a.CauseStands || b.permitted() {
		t.Errorf("shelved, over its limit: %+v, permitted %v", a, b.permitted())
	}
	b.must(b.do(daq.OutOfService, "water-overheat"))
	if a := b.status("water-overheat"); a.Trips || !a.Tripped || a.Acknowledged || a.Active || a.CauseStands || !a.Until.IsZero() {
		t.Errorf("out of service: %+v", a)
	}
	b.must(b.do(daq.ReturnToService, "water-overheat"))
	if a := b.status("water-overheat"); !a.Trips || a.Acknowledged || !a.Active || !a.CauseStands {
		t.Errorf("back: %+v", a)
	}
	b.must(b.do(daq.Acknowledge, "water-overheat"))
	b.run(5*time.Second, 1.2, 50, 255)
	if a := b.status("water-overheat"); !a.Acknowledged || !a.Active || a.CauseStands {
		t.Errorf("latched: %+v", a)
	}
	if a := b.status("instrument-fault-flow"); a.Trips || a.Acknowledged {
		t.Errorf("one that does not trip: %+v", a)
	}
}

// In a proof test the output is down and the permit is given.
func TestAProofTestSaysThatThePermitIsGiven(t *testing.T) {
	b := given(t)
	if b.state.ProofTest || !b.state.Given {
		t.Fatalf("before: %+v", b.state)
	}
	b.must(b.do(daq.ProofTest, ""))
	b.run(time.Second, 1.2, 50, 255)
	if !b.state.ProofTest || !b.state.Given || b.state.Permit || b.permitted() {
		t.Errorf("proof test %v, given %v, demanded %v, permitted %v", b.state.ProofTest, b.state.Given, b.state.Permit, b.permitted())
	}
	if why := b.do(daq.Give, ""); !strings.Contains(why, "given already") {
		t.Errorf("give in a proof test: %q", why)
	}
	b.run(5*time.Second, 1.2, 50, 255)
	if b.state.ProofTest || !b.state.Given || !b.permitted() {
		t.Errorf("after: proof test %v, given %v, permitted %v", b.state.ProofTest, b.state.Given, b.permitted())
	}
	b.must(b.do(daq.ProofTest, ""))
	b.must(b.do(daq.Withdraw, ""))
	b.run(5*time.Second, 1.2, 50, 255)
	if b.state.ProofTest || b.state.Given || b.permitted() {
		t.Error("a permit withdrawn in its proof test came back")
	}
}
