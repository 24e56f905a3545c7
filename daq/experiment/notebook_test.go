package experiment

import (
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

var nine = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// bench plays states at intervals of 200 ms.
type bench struct {
	*testing.T
	n *Notebook
	s daq.State

	told []daq.Event // of the last interval
}

func newBench(t *testing.T) *bench {
	t.Helper()
	return &bench{T: t, n: New(daqtest.Config(t, daqtest.Rig("measuring")))}
}

// run plays a stretch at one Re, steady, at 25 °C.
func (b *bench) run(length time.Duration, re float64, change ...func(*daq.State)) {
	for end := b.s.Mono + length; b.s.Mono < end; {
		at := b.s.Mono + 200*time.Millisecond
		b.s = daq.State{Mono: at, Time: nine.Add(at), Tick: true}
		wave := 1 + 1e-3*math.Sin(at.Seconds()*7)
		b.s.Values.Put(quantity.Reynolds, re*wave)
		b.s.Values.Put(quantity.ReynoldsUncertainty, 0.02*re)
		b.s.Values.Put(quantity.Flow, re*1e-8*wave)
		b.s.Values.Put(quantity.TubeTemperature, 25)
		b.s.Values.Put(quantity.Temperature, 25)
		b.s.Values.PutBool(quantity.Steady, true)
		b.s.U.Put(quantity.Flow, re*1e-10)
		b.s.U.Put(quantity.TubeTemperature, 0.1)
		for _, c := range change {
			c(&b.s)
		}
		b.told = b.n.Step(&b.s)
	}
}

func (b *bench) ask(ask daq.Ask) (daq.Event, error) {
	b.Helper()
	e, ok, err := b.n.Obey(&daq.Command{Who: "dana", Ask: ask}, &b.s)
	if !ok {
		b.Fatalf("%s is not the notebook's", ask.Verb())
	}
	return e, err
}

func (b *bench) must(ask daq.Ask) daq.Event {
	b.Helper()
	e, err := b.ask(ask)
	if err != nil {
		b.Fatalf("%s: %v", ask.Verb(), err)
	}
	return e
}

func (b *bench) refused(want string, ask daq.Ask) {
	b.Helper()
	if _, err := b.ask(ask); err == nil || !strings.Contains(err.Error(), want) {
		b.Errorf("%s: %v, want %q", ask.Verb(), err, want)
	}
}

func TestCapture(t *testing.T) {
	b := newBench(t)
	b.run(5*time.Second, 1500)
	b.refused("only 5.0 s are known yet", &daq.CaptureAsk{})
	b.run(115*time.Second, 1500)
	b.must(&daq.ObserveAsk{Seen: "laminar"})
	p := b.must(&daq.CaptureAsk{Point: "25 Cel laminar"}).TestPoint
	if p.Seconds != 60 || p.Who != "dana" || p.Point != "25 Cel laminar" || p.Computed != "laminar" || p.Observed != "laminar" || p.Spoilt != "" || !p.Time.Equal(b.s.Time) {
		t.Errorf("%+v", p)
	}
	flow := meanOf(p, quantity.Flow)
	if math.Abs(*flow.Value-1.5e-5) > 1e-8 || *flow.StandardError <= 0 || math.Abs(*flow.Expanded-2*math.Hypot(1.5e-7, *flow.StandardError)) > 1e-12 {
		t.Errorf("flow %g ± %g, expanded %g", *flow.Value, *flow.StandardError, *flow.Expanded)
	}
	if re := meanOf(p, quantity.Reynolds); re.Expanded != nil {
		t.Errorf("Re without a stated uncertainty has ± %g", *re.Expanded)
	}
	if level := meanOf(p, quantity.Level); level.Value != nil || level.StandardError != nil || level.Expanded != nil {
		t.Errorf("a level that is unknown is %v", level)
	}
}

// The regime of a point is that of its mean, and what was seen at other conditions is
// not of it.
func TestCaptureRegimes(t *testing.T) {
	b := newBench(t)
	b.run(2*time.Minute, 3000)
	b.must(&daq.ObserveAsk{Seen: "turbulent"})
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Computed != "transitional" || p.Observed != "turbulent" {
		t.Errorf("%s, seen %q", p.Computed, p.Observed)
	}
	unknown := func(s *daq.State) { s.Values.Clear(quantity.TubeTemperature) }
	b.run(2*time.Minute, 3000, unknown)
	if o := b.must(&daq.ObserveAsk{Seen: "transitional"}).Observation; o.TubeTemperature != nil || *o.Temperature != 25 {
		t.Errorf("%+v", o)
	}
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Observed != "transitional" {
		t.Errorf("by the inlet's temperature %q was seen", p.Observed)
	}
	b.run(2*time.Minute, 4300)
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Computed != "turbulent" || p.Observed != "" {
		t.Errorf("%s, seen %q", p.Computed, p.Observed)
	}
	b.run(2*time.Minute, 3000, func(s *daq.State) { s.Values.Put(quantity.TubeTemperature, 40) })
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Observed != "" {
		t.Errorf("at another temperature %q was seen", p.Observed)
	}
}

// A point during whose seconds something went wrong is kept and says so; one after
// them is good.
func TestSpoilt(t *testing.T) {
	lost := func(s *daq.State) { s.Alarms = []daq.AlarmStatus{{Name: "head-lost", CauseStands: true}} }
	other := func(s *daq.State) {
		s.Alarms = []daq.AlarmStatus{{Name: "head-lost"}, {Name: "fast-flow", CauseStands: true}}
	}
	for _, c := range []struct {
		name, want string
		happen     func(b *bench)
	}{
		{"head lost", "the head was lost within its seconds", func(b *bench) { b.run(time.Second, 1500, lost) }},
		{"another alarm", "", func(b *bench) { b.run(time.Second, 1500, other) }},
		{"valve", "the valve was touched within its seconds", func(b *bench) { b.must(&daq.NoteAsk{Kind: "valve"}) }},
		{"air", "air was seen within its seconds", func(b *bench) { b.must(&daq.NoteAsk{Kind: "air"}) }},
		{"other", "", func(b *bench) { b.must(&daq.NoteAsk{Kind: "other", Text: "rain"}) }},
	} {
		b := newBench(t)
		b.run(2*time.Minute, 1500)
		c.happen(b)
		b.run(50*time.Second, 1500)
		if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Spoilt != c.want {
			t.Errorf("%s: %q, want %q", c.name, p.Spoilt, c.want)
		}
		b.run(20*time.Second, 1500)
		if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Spoilt != "" {
			t.Errorf("%s, and a minute later: %q", c.name, p.Spoilt)
		}
	}
	b := newBench(t)
	b.run(2*time.Minute, 1500, func(s *daq.State) { s.Values.PutBool(quantity.Steady, false) })
	if p := b.must(&daq.CaptureAsk{}).TestPoint; p.Spoilt != "not steady" {
		t.Errorf("not steady: %q", p.Spoilt)
	}
	b.run(time.Second, 1500, func(s *daq.State) { s.Values.Clear(quantity.Steady) })
	if p := b.must(&daq.CaptureAsk{}).TestPoint; !strings.Contains(p.Spoilt, "not known") {
		t.Errorf("steadiness unknown: %q", p.Spoilt)
	}
}

func TestApproach(t *testing.T) {
	type stretch struct {
		length time.Duration
		re     float64
	}
	for _, c := range []struct {
		want string
		runs []stretch
	}{
		{"unknown", []stretch{{5 * time.Minute, 2000}}},
		{"rising", []stretch{{time.Minute, 1500}, {5 * time.Minute, 2000}}},
		{"falling", []stretch{{time.Minute, 3000}, {5 * time.Minute, 2000}}},
		{"falling", []stretch{{time.Minute, 1500}, {time.Minute, 3000}, {time.Minute, 2000}}},
		{"unknown", []stretch{{time.Minute, 1950}, {time.Minute, 2000}}}, // within the scatter
		{"unknown", []stretch{{time.Minute, 1500}, {16 * time.Minute, 2000}}},
	} {
		b := newBench(t)
		for _, r := range c.runs {
			b.run(r.length, r.re)
		}
		if o := b.must(&daq.ObserveAsk{Seen: "laminar"}).Observation; o.Approach != c.want || *o.Reynolds != b.value(quantity.Reynolds) {
			t.Errorf("%v: %s, want %s", c.runs, o.Approach, c.want)
		}
	}
}

func (b *bench) value(id quantity.ID) float64 {
	v, _ := b.s.Values.Get(id)
	return v
}

// What does not go with an earlier observation on the same way is kept and marked.
func TestContradictions(t *testing.T) {
	for _, c := range []struct {
		name   string
		re     float64 // after "turbulent" was seen at 2400, coming from 2000
		via    float64
		seen   string
		change func(*daq.State)
		want   bool
	}{
		{"laminar above", 2600, 2400, "laminar", nil, true},
		{"transitional above", 2600, 2400, "transitional", nil, true},
		{"turbulent above", 2600, 2400, "turbulent", nil, false},
		{"laminar below", 2300, 2000, "laminar", nil, false},
		{"laminar hardly below", 2376, 2000, "laminar", nil, true},
		{"transitional hardly below", 2376, 2000, "transitional", nil, false},
		{"laminar above, coming down", 2600, 3500, "laminar", nil, false},
		{"laminar above at 40 Cel", 2600, 2400, "laminar", func(s *daq.State) { s.Values.Put(quantity.TubeTemperature, 40) }, false},
	} {
		b := newBench(t)
		b.run(time.Minute, 2000)
		b.run(time.Minute, 2400)
		first := b.must(&daq.ObserveAsk{Seen: "turbulent"}).Observation
		b.run(time.Minute, c.via)
		if c.change == nil {
			c.change = func(*daq.State) {}
		}
		b.run(time.Minute, c.re, c.change)
		o := b.must(&daq.ObserveAsk{Seen: c.seen}).Observation
		if !first.Contradicts.IsZero() || o.Contradicts.Equal(first.Time) != c.want || !c.want && !o.Contradicts.IsZero() {
			t.Errorf("%s: contradicts %v", c.name, o.Contradicts)
		}
	}
	b := newBench(t)
	b.run(time.Second, 2000)
	b.refused("is not what a dye thread shows", &daq.ObserveAsk{Seen: "no-flow"})
	b.s.Values.Clear(quantity.Reynolds)
	if o := b.must(&daq.ObserveAsk{Seen: "laminar"}).Observation; o.Reynolds != nil {
		t.Errorf("an unknown Re is %g", *o.Reynolds)
	}
}

func litre(x float64) *uncertainty.Value { return &uncertainty.Value{X: x * 1e-3, U: x * 1e-6} }

// The meter says 1.5e-5 m³/s throughout: 0.45 L in 30 s.
func TestCollect(t *testing.T) {
	b := newBench(t)
	b.run(30*time.Second, 3000)
	b.run(90*time.Second, 1500)
	stop := b.s.Time.Add(-10 * time.Second)
	for name, ask := range map[string]*daq.CollectAsk{
		"by volume":      {Volume: litre(0.45), Start: stop.Add(-30 * time.Second), Stop: stop},
		"by stopwatch":   {Volume: litre(0.45), Seconds: 30},
		"by weight":      {Mass: &uncertainty.Value{X: 0.4482, U: 1e-4}, Start: stop.Add(-30 * time.Second), Stop: stop},
		"in a warm jug":  {Volume: litre(0.45), Seconds: 30, Vessel: "polypropylene", VesselTemperature: &uncertainty.Value{X: 25, U: 0.5}},
		"in a steel pan": {Volume: litre(0.45), Seconds: 30, Vessel: "steel"},
	} {
		c := b.must(ask).Collection
		if math.Abs(c.Factor-1) > 0.003 || c.FactorU < 0.008 || c.FactorU > 0.03 || c.Seconds != 30 || math.Abs(c.Metered-1.5e-5) > 1e-8 ||
			!c.Stop.After(c.Start) || (c.Volume == nil) == (c.Mass == nil) || c.Verdict == "" {
			t.Errorf("%s: %+v", name, c)
		}
		if own := math.Hypot(c.CollectedU/c.Collected, c.MeteredU/c.Metered); math.Abs(own-c.FactorU/c.Factor) > 1e-6 || c.MeteredU <= 0 {
			t.Errorf("%s: the parts' relative U is %g, the factor's %g", name, own, c.FactorU/c.Factor)
		}
	}
	// Over the seconds before, the meter said twice as much.
	early := &daq.CollectAsk{Volume: litre(0.45), Start: nine.Add(5 * time.Second), Stop: nine.Add(25 * time.Second)}
	if c := b.must(early).Collection; math.Abs(c.Factor-0.75) > 0.003 || c.Verdict != "outside its accuracy" {
		t.Errorf("of the seconds before: %+v", c)
	}
	for _, c := range []struct {
		want string
		ask  daq.CollectAsk
	}{
		{"give one of them", daq.CollectAsk{Seconds: 30}},
		{"give one of them, not both", daq.CollectAsk{Volume: litre(1), Seconds: 30, Start: nine, Stop: stop}},
		{"stop after start", daq.CollectAsk{Volume: litre(1), Start: stop, Stop: nine}},
		{"both must be there", daq.CollectAsk{Volume: litre(1), Start: stop}},
		{"how long", daq.CollectAsk{Volume: litre(1)}},
		{"is not over yet", daq.CollectAsk{Volume: litre(1), Start: stop, Stop: b.s.Time.Add(time.Minute)}},
		{"too long ago", daq.CollectAsk{Volume: litre(1), Start: nine.Add(-time.Hour), Stop: stop}},
		{"no material known here", daq.CollectAsk{Volume: litre(1), Seconds: 30, Vessel: "wood"}},
		{"that of water", daq.CollectAsk{Volume: litre(1), Seconds: 30, VesselTemperature: &uncertainty.Value{X: 150}}},
		{"volume", daq.CollectAsk{Volume: &uncertainty.Value{}, Seconds: 30}},
	} {
		b.refused(c.want, &c.ask)
	}
	b.run(time.Second, 1500, func(s *daq.State) { s.Values.PutBool(quantity.Steady, false) })
	b.refused("not steady", &daq.CollectAsk{Volume: litre(0.45), Seconds: 30})
	b.run(time.Second, 1500, func(s *daq.State) { s.Values.Clear(quantity.Flow) })
	b.refused("did not read throughout", &daq.CollectAsk{Volume: litre(0.45), Start: stop, Stop: b.s.Time})
}

func TestNotesAndStrikes(t *testing.T) {
	b := newBench(t)
	if n := b.must(&daq.NoteAsk{Kind: "inlet", Text: "refilled"}).Note; n.Kind != "inlet" || n.Text != "refilled" || n.Who != "dana" {
		t.Errorf("%+v", n)
	}
	b.refused("write one of valve, inlet, air, other", &daq.NoteAsk{Kind: "weather"})
	b.refused("needs one", &daq.NoteAsk{Kind: "other", Text: " "})
	if s := b.must(&daq.StrikeAsk{Of: "observation", Struck: 4, Reason: "no dye"}).Strike; *s != (daq.Strike{Time: b.s.Time, Who: "dana", Of: "observation", Struck: 4, Reason: "no dye"}) {
		t.Errorf("%+v", s)
	}
	b.refused("cannot be struck", &daq.StrikeAsk{Of: "alarm", Struck: 4, Reason: "x"})
	b.refused("there is none", &daq.StrikeAsk{Of: "observation", Reason: "x"})
	b.refused("needs one", &daq.StrikeAsk{Of: "observation", Struck: 4})
}

// The past keeps its order through a change of its length.
func TestPast(t *testing.T) {
	p := past{limit: 3}
	at := time.Duration(0)
	for _, limit := range []int{3, 3, 3, 3, 3, 5, 5, 5, 2, 2, 2, 4} {
		p.limit, at = limit, at+1
		p.add(&daq.State{Mono: at})
		list := p.ordered()
		for i, one := range list {
			if want := at - time.Duration(len(list)-1-i); one.at != want {
				t.Fatalf("at %d: %d stands at %d, want %d", at, one.at, i, want)
			}
		}
		if oldest, _ := p.oldest(); len(list) > limit || oldest != list[0].at || len(between(list, at-2, at)) != min(2, len(list)) {
			t.Fatalf("at %d: %d kept of %d, the oldest %d", at, len(list), limit, oldest)
		}
	}
}
