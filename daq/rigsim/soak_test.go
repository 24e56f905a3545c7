package rigsim

import (
	"flag"
	"fmt"
	"regexp"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

// night is a rig with its permit relay and the program's engine beside it,
// without lines and without a clock. It keeps what the engine says.
type night struct {
	sim    *Sim
	cfg    *config.Config
	engine *engine.Engine
	now    time.Duration
	number uint64
	state  daq.State
	alarms []*daq.AlarmEvent
	tape   *tape // nil: nobody keeps the rows
	notes  []*daq.Note

	wrote   bool // what the relay was told last
	wroteAt time.Duration

	seen  func(daq.Input, daq.State, []daq.Event, *daq.Reply) // hears of every step; nil for nobody
	held  func()                                              // what a test does to the rig in every beat; nil for nothing
	mute  quantity.ID
	muted bool // the instrument mute gives no readings
}

// newNight makes a rig whose papers lack the instruments named.
func newNight(t testing.TB, o Options, without ...string) *night {
	t.Helper()
	o.Relay, o.Bypass = true, true
	s := newSim(t, o)
	text := string(s.Config())
	for _, name := range without {
		text = regexp.MustCompile(`(?m)^\[instruments\.`+name+`\]\n(?:[^\[\n].*\n)+`).ReplaceAllString(text, "")
	}
	c := daqtest.Config(t, text)
	e, err := engine.New(c, nil)
	must(t, err)
	n := &night{sim: s, cfg: c, engine: e}
	n.step(e.Begin())
	return n
}

func (n *night) step(in daq.Input) {
	n.number++
	in.Number, in.Mono, in.Wall = n.number, n.now, time.Unix(0, 0).Add(n.now)
	var events []daq.Event
	n.state, events = n.engine.Step(in)
	if n.seen != nil {
		n.seen(in, n.state, events, n.engine.Reply())
	}
	if n.tape != nil {
		n.tape.take(&n.state, events)
	}
	for _, e := range events {
		if e.Alarm != nil {
			n.alarms = append(n.alarms, e.Alarm)
		}
		if e.Note != nil {
			n.notes = append(n.notes, e.Note)
		}
	}
}

// sleep lets time pass: each instrument is read when it is due, the engine
// ticks, and the relay is written as the permit's output does it.
func (n *night) sleep(length time.Duration) {
	const beat = 100 * time.Millisecond
	for end := n.now + length; n.now < end; {
		if n.held != nil {
			n.held()
		}
		n.sim.Advance(beat)
		n.now += beat
		for _, r := range n.sim.Readings(n.now) {
			if in := n.cfg.Instrument(r.Instrument); in != nil && n.now%in.Every == 0 && !(n.muted && n.mute == r.Instrument) {
				n.step(daq.Input{Kind: daq.KindReading, Reading: r})
			}
		}
		if n.now%n.cfg.Interval == 0 {
			n.step(daq.Input{Kind: daq.KindTick})
			n.output()
		}
	}
}

// output writes the relay: a change at once, the same again after the refresh
// time.
func (n *night) output() {
	on := n.state.Permit
	if on == n.wrote && n.now-n.wroteAt < n.cfg.Trip.Refresh {
		return
	}
	n.wrote, n.wroteAt = on, n.now
	n.sim.mu.Lock()
	n.sim.plant.relay.write(on)
	n.sim.mu.Unlock()
	n.step(daq.Input{Kind: daq.KindOutput, Output: &daq.Output{On: on}})
}

func (n *night) do(c daq.Command) { n.step(daq.Input{Kind: daq.KindCommand, Command: &c}) }

// give is a person who gives the permit.
func (n *night) give(t testing.TB) {
	t.Helper()
	n.do(daq.Command{ID: "1", Who: "dana", Ask: &daq.GiveAsk{}})
	n.output()
	n.sleep(time.Second)
	if on, _ := n.state.Values.Get(quantity.HeatingPermitted); on == 0 {
		t.Fatalf("the permit was given and is not on; alarms %v", n.state.Alarms)
	}
}

// long lets TestADayRaisesNoAlarm play the whole day of twenty rigs, which takes
// minutes of two cores, and TestDetectedShare twenty rigs.
var long = flag.Bool("long", false, "a whole day of twenty rigs, not four hours of four; events on twenty rigs, not on ten")

// Hours of the normal sweep, of which a round takes 88 min, with noise as large
// as the sensors' limits of error raise no alarm, whatever the rig. In every
// fourth rig it is not seen whether the heater is on, and permitted counts as
// heating.
func TestADayRaisesNoAlarm(t *testing.T) {
	t.Parallel()
	day, seeds := 4*time.Hour, 4
	switch {
	case *long:
		day, seeds = 24*time.Hour, 20
	case testing.Short():
		day = time.Hour
	}
	for seed := range seeds {
		var without []string
		if seed%4 == 3 {
			without = []string{"heater_on"}
		}
		t.Run(fmt.Sprintf("seed %d without %v", seed, without), func(t *testing.T) {
			t.Parallel()
			sleepThrough(t, day, uint64(seed), without...)
		})
	}
}

func sleepThrough(t *testing.T, day time.Duration, seed uint64, without ...string) {
	t.Helper()
	n := newNight(t, Options{Scenario: "sweep", Seed: seed, Noise: 1}, without...)
	n.sleep(3 * time.Second)
	n.give(t)
	n.sleep(day)
	for _, a := range n.alarms {
		t.Errorf("after %v: %s %s: %s", time.Duration(a.Time.UnixNano()), a.Name, a.State, a.Cause)
	}
	for _, note := range n.notes[1:] { // the first says that the permit was given
		t.Errorf("after %v: note: %s", time.Duration(note.Time.UnixNano()), note.Text)
	}
	if on, _ := n.state.Values.Get(quantity.HeatingPermitted); on == 0 || !n.sim.plant.relay.energised {
		t.Error("the permit is off at the end")
	}
}

// A thousand starts with that noise raise none: in the first seconds the
// windows are short.
func TestStartsRaiseNoAlarm(t *testing.T) {
	t.Parallel()
	starts := uint64(1000)
	if testing.Short() {
		starts = 100
	}
	for seed := range starts {
		n := newNight(t, Options{Scenario: "sweep", Seed: seed, Noise: 1})
		n.sleep(15 * time.Second)
		for _, a := range n.alarms {
			t.Errorf("seed %d: after %v: %s: %s", seed, time.Duration(a.Time.UnixNano()), a.Name, a.Cause)
		}
	}
}
