package engine

import (
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// benchText measures flow, temperature and level, and no more.
var benchText = daqtest.Rig("measuring")

// bench plays an engine by hand: wire numbers at monotonic times.
type bench struct {
	t      *testing.T
	e      *Engine
	number uint64
	at     time.Duration
	state  daq.State
	events []daq.Event
	judge  *judge // of every step
	same   bool   // goes on with the engine that it has
}

// checked are the configurations so far, by their texts: thousands of benches have
// a few dozen, and an engine only reads its own.
var checked sync.Map

func benchConfig(t *testing.T, text string) *config.Config {
	t.Helper()
	cfg, known := checked.Load(text)
	if !known {
		cfg, _ = checked.LoadOrStore(text, daqtest.Config(t, text))
	}
	return cfg.(*config.Config)
}

// benchWith is a bench of a configuration, at its start.
func benchWith(t *testing.T, text string, restored ...daq.SavedAlarm) *bench {
	t.Helper()
	e, err := New(benchConfig(t, text), restored)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, e: e}
	b.step(e.Begin())
	return b
}

func newBench(t *testing.T, restored ...daq.SavedAlarm) *bench {
	t.Helper()
	return benchWith(t, benchText, restored...)
}

var dayOne = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// step also goes on, now and then, with the engine of a checkpoint in place of the one
// that it had: what is tested of the one holds for the other.
func (b *bench) step(in daq.Input) []daq.Event {
	b.number++
	in.Number, in.Mono, in.Wall, in.Synchronised = b.number, b.at, dayOne.Add(b.at), true
	if b.judge == nil {
		b.judge = newJudge(b.t)
		b.judge.adopt(b.e.cfg)
	}
	before := b.state
	var events []daq.Event
	b.state, events = b.e.Step(in)
	b.events = append(b.events, events...)
	b.judge.see(in, before, b.state, events, b.e.Reply())
	if !b.same && (b.number == 100 || b.number == 3000) {
		b.e = resumed(b.t, b.e)
	}
	return events
}

func (b *bench) read(id quantity.ID, number float64) {
	b.step(daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Instrument: id, Number: number, At: b.at}})
}

func (b *bench) fault(id quantity.ID, reason daq.Reason, text string) {
	b.step(daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Instrument: id, Reason: reason, Error: text, At: b.at}})
}

// run plays 200 ms intervals: one reading of each instrument, then a tick.
func (b *bench) run(length time.Duration, lpm, celsius, millimeters float64) {
	for end := b.at + length; b.at < end; {
		b.at += 200 * time.Millisecond
		b.read(quantity.Flow, lpm)
		b.read(quantity.Temperature, celsius*10)
		b.read(quantity.Level, 4000+millimeters*40)
		b.step(daq.Input{Kind: daq.KindTick})
	}
}

func (b *bench) value(id quantity.ID) float64 {
	b.t.Helper()
	v, known := b.state.Values.Get(id)
	if !known {
		b.t.Fatalf("%s is unknown", id.Name())
	}
	return v
}

// alarms are the transitions so far, as "name state".
func (b *bench) alarms() []string {
	var list []string
	for _, e := range b.events {
		if e.Alarm != nil {
			list = append(list, e.Alarm.Name+" "+e.Alarm.State)
		}
	}
	return list
}

func TestReadingsBecomeAState(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1.2, 42, 255)
	// nu(42 °C, 0.1 MPa) = 6.343592859e-7 m²/s: python3-iapws 1.5.3, _Liquid; Re = 4Q/(πDν)
	want := 4 * 2e-5 / (math.Pi * 0.013 * 6.343592859e-7)
	if re := b.value(quantity.Reynolds); math.Abs(re/want-1) > 1e-4 {
		t.Errorf("Re = %v, want %v", re, want)
	}
	if band := b.state.Values.Band(); band != quantity.Transitional {
		t.Errorf("regime %v, want transitional", band)
	}
	if h := b.value(quantity.Head); math.Abs(h-1.355) > 1e-9 {
		t.Errorf("head %v m, want 1.355 m (level 255 mm plus drop 1.10 m)", h)
	}
	for _, id := range b.state.Instruments {
		if q := b.state.Quality[id]; q.Grade != daq.Good {
			t.Errorf("%s: %v", id.Short(), q)
		}
	}
}

func TestABadInstrumentMakesTheRestUnknown(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1.2, 42, 255)
	for range 20 {
		b.at += 200 * time.Millisecond
		b.read(quantity.Flow, 1.2)
		b.read(quantity.Level, 4000+255*40)
		b.fault(quantity.Temperature, daq.ReasonTimeout, "no answer from address 3")
		b.step(daq.Input{Kind: daq.KindTick})
	}
	for _, id := range []quantity.ID{quantity.Temperature, quantity.Reynolds, quantity.Density, quantity.ProbabilityBelow} {
		if v, known := b.state.Values.Get(id); known {
			t.Errorf("%s = %v, want unknown", id.Name(), v)
		}
	}
	if got := b.state.Values.Band(); got != quantity.Unknown {
		t.Errorf("regime %v, want unknown", got)
	}
	if got := b.alarms(); !slices.Equal(got, []string{"instrument-fault-temperature unacknowledged"}) {
		t.Errorf("alarms %v", got)
	}
	b.run(time.Second, 1.2, 42, 255)
	b.value(quantity.Reynolds)
}

func TestOverheatRunsItsLife(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1.2, 60, 255)
	b.run(1800*time.Millisecond, 1.2, 76, 255)
	if got := b.alarms(); len(got) != 0 {
		t.Fatalf("before the on-delay: %v", got)
	}
	b.run(400*time.Millisecond, 1.2, 76, 255)
	b.run(5*time.Second, 1.2, 60, 255)
	for _, verb := range []daq.Verb{daq.Reset, daq.Acknowledge, daq.Acknowledge, daq.Reset} {
		b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.AskAlarm(verb, "water-overheat", "", 0)}})
	}
	want := []string{"water-overheat unacknowledged", "water-overheat latched-unacknowledged", "water-overheat latched-acknowledged", "water-overheat normal"}
	if got := b.alarms(); !slices.Equal(got, want) {
		t.Errorf("transitions %v, want %v", got, want)
	}
	var refused int
	for _, e := range b.events {
		if e.Note != nil && e.Note.Kind == "refused" {
			refused++
		}
	}
	if refused != 2 {
		t.Errorf("%d refusals journalled, want 2: the early reset and the second acknowledgement", refused)
	}
}

func TestARestartBringsAlarmsBackSilently(t *testing.T) {
	b := newBench(t, daq.SavedAlarm{Name: "water-overheat", State: "acknowledged", Since: dayOne})
	b.run(4*time.Second, 1.2, 76, 255)
	if got := b.alarms(); len(got) != 0 {
		t.Errorf("announced anew: %v", got)
	}
	if len(b.state.Alarms) != 1 || b.state.Alarms[0].State != "acknowledged" {
		t.Errorf("alarms %v", b.state.Alarms)
	}
}

func TestHeadLost(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1.2, 42, 231)
	b.run(3*time.Second, 1.2, 42, 229)
	if got := b.alarms(); !slices.Equal(got, []string{"head-lost unacknowledged"}) {
		t.Errorf("alarms %v", got)
	}
	a := b.state.Alarms[0]
	if a.Value == nil || math.Abs(*a.Value-0.229) > 1e-9 || a.Limit == nil || math.Abs(*a.Limit-0.230) > 1e-9 {
		t.Errorf("value %v limit %v, want 0.229 and 0.230 m", a.Value, a.Limit)
	}
}

// TestReplayIsExact holds that the engine is pure: the same inputs give the
// same bytes.
func TestReplayIsExact(t *testing.T) {
	play := func() []byte {
		b := newBench(t)
		b.run(20*time.Second, 1.2, 42, 255)
		b.run(5*time.Second, 2.2, 76, 225)
		return daq.AppendState(nil, &b.state, daq.Identity{Site: "north-hall", Rig: "bench-3"})
	}
	if a, b := play(), play(); string(a) != string(b) {
		t.Errorf("two plays differ:\n%s\n%s", a, b)
	}
}

func TestStepsDoNotChangeOldStates(t *testing.T) {
	b := newBench(t)
	b.run(5*time.Second, 1.2, 76, 255)
	old := b.state
	before := string(daq.AppendState(nil, &old, daq.Identity{}))
	b.run(5*time.Second, 3, 20, 200)
	if after := string(daq.AppendState(nil, &old, daq.Identity{})); after != before {
		t.Errorf("an old state changed:\n%s\n%s", before, after)
	}
}

func BenchmarkStep(b *testing.B) {
	cfg, _ := config.Parse("bench.toml", []byte(benchText))
	e, err := New(cfg, nil)
	if err != nil {
		b.Fatal(err)
	}
	e.Step(e.Begin())
	var n uint64
	for b.Loop() {
		n++
		at := time.Duration(n) * 200 * time.Millisecond
		e.Step(daq.Input{Number: n, Mono: at, Kind: daq.KindReading, Reading: daq.Reading{Instrument: quantity.Flow, Number: 1.2, At: at}})
	}
}

// Why and for how long an alarm is shelved is kept, the second time too: after
// a restart the newer end holds.
func TestShelvingIsKept(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1.2, 42, 255)
	for _, length := range []time.Duration{24 * time.Hour, time.Minute} {
		b.step(daq.Input{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "dana", Ask: daq.AskAlarm(daq.Shelve, "head-lost", "tank is cleaned", length)}})
	}
	var ends, reasons []string
	for _, e := range b.events {
		switch {
		case e.Alarm != nil:
			ends = append(ends, e.Alarm.Until.Sub(b.state.Time).String())
		case e.Note != nil:
			reasons = append(reasons, e.Note.Kind+" by "+e.Note.Who+" "+e.Note.Text)
		}
	}
	if !slices.Equal(ends, []string{"24h0m0s", "1m0s"}) {
		t.Errorf("ends %v", ends)
	}
	if want := "shelve by dana head-lost: tank is cleaned"; !slices.Equal(reasons, []string{want, want}) {
		t.Errorf("reasons %v", reasons)
	}
}

// asked is what a verb asks: of the alarm of that name, or of the permit.
func asked(verb daq.Verb, name string) daq.Ask {
	if ask := daq.AskAlarm(verb, name, "", time.Hour); ask != nil {
		return ask
	}
	return daq.NewAsk(verb)
}
