package experiment

import (
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// twoPoints is a plan at 25 °C; ask for the quantities that it looks at with at.
var twoPoints = &daq.StartExperimentAsk{Own: &config.PlanText{Name: "mine", Points: []config.PointText{
	{Temperature: "25 Cel", Regimes: []string{"laminar"}, Reynolds: nil}, {Temperature: "25 Cel", Reynolds: []float64{3000}}}}}

func laminar(p float64) func(*daq.State) {
	return func(s *daq.State) { s.Values.Put(quantity.ProbabilityBelow, p) }
}

func (b *bench) events(length time.Duration, re float64, change ...func(*daq.State)) (list []daq.Event) {
	for end := b.s.Mono + length; b.s.Mono < end; {
		b.run(200*time.Millisecond, re, change...)
		list = append(list, b.told...)
	}
	return list
}

// What the rig is steady at is captured once, by nobody; then the experiment is done.
func TestUnaided(t *testing.T) {
	b := newBench(t)
	begun := b.must(twoPoints).Experiment
	if begun == nil || begun.Action != "started" || begun.ID == "" || !strings.Contains(string(begun.Plan), `"regime":"laminar"`) {
		t.Fatalf("%+v", begun)
	}
	b.refused("runs: stop it", twoPoints)
	unsteady := func(s *daq.State) { s.Values.PutBool(quantity.Steady, false) }
	cold := func(s *daq.State) { s.Values.Put(quantity.Temperature, 21.9) }
	for name, change := range map[string]func(*daq.State){"unsteady": unsteady, "cold": cold, "doubtful": laminar(0.94)} {
		if e := b.events(70*time.Second, 1500, laminar(0.99), change); len(e) > 0 {
			t.Fatalf("%s: captured %+v", name, e[0].TestPoint)
		}
	}
	b.must(&daq.ObserveAsk{Seen: "laminar"})
	e := b.events(70*time.Second, 1500, laminar(0.99))
	if len(e) != 1 || e[0].TestPoint == nil {
		t.Fatalf("%d events", len(e))
	}
	if p := e[0].TestPoint; p.Who != "" || p.Experiment != begun.ID || p.Point != "25 Cel, laminar" || p.Repeat != 0 || p.Spoilt != "" || p.Observed != "laminar" {
		t.Errorf("%+v", p)
	}
	now := b.s.Experiment
	if now == nil || now.Points[0].State != daq.PointCaptured || now.Points[1].State != daq.PointNow || !strings.HasPrefix(now.Next, "set the valve to ") || now.Remaining == nil {
		t.Fatalf("%+v", now)
	}
	if e := b.events(70*time.Second, 2900); len(e) > 0 {
		t.Error("captured at Re 2900, more than 3 % below 3000")
	}
	e = b.events(70*time.Second, 2950)
	if len(e) != 2 || e[0].TestPoint == nil || e[1].Experiment == nil || e[1].Experiment.Action != "done" || e[1].Experiment.ID != begun.ID {
		t.Fatalf("%+v", e)
	}
	if b.s.Experiment != nil {
		t.Error("it still shows")
	}
}

// A struck test point is taken again and counts as a repeat; so does a spoilt one.
func TestTakenAgain(t *testing.T) {
	b := newBench(t)
	id := b.must(twoPoints).Experiment.ID
	unsteady := func(s *daq.State) { s.Values.PutBool(quantity.Steady, false) }
	b.run(70*time.Second, 1500, laminar(0.99), unsteady)
	if p := b.must(&daq.CaptureAsk{Point: "25 Cel, laminar"}).TestPoint; p.Spoilt != "not steady" || p.Repeat != 0 || p.Who != "dana" {
		t.Fatalf("%+v", p)
	}
	b.run(time.Second, 1500, unsteady)
	b.run(200*time.Millisecond, 9000, unsteady)
	if got := b.s.Experiment.Points[0].State; got != daq.PointSpoilt && got != daq.PointNow {
		t.Error(got)
	}
	for repeat := int64(1); repeat < 3; repeat++ {
		e := b.events(70*time.Second, 1500, laminar(0.99))
		if len(e) != 1 || e[0].TestPoint == nil || e[0].TestPoint.Repeat != repeat {
			t.Fatalf("repeat %d: %+v", repeat, e)
		}
		b.must(&daq.StrikeAsk{Of: daq.KindTestPoint, Struck: 1, Reason: "air", Experiment: id, Point: "25 Cel, laminar"})
	}
}

// What is spoken against is waited for.
func TestSpoiltIsWaitedFor(t *testing.T) {
	b := newBench(t)
	b.must(twoPoints)
	b.run(30*time.Second, 1500, laminar(0))
	b.must(&daq.NoteAsk{Kind: "valve"})
	if e := b.events(59*time.Second, 1500, laminar(0.99)); len(e) > 0 {
		t.Fatal("captured within the minute after the valve")
	}
	if next := b.s.Experiment.Next; !strings.Contains(next, "the valve was touched") {
		t.Error(next)
	}
	if e := b.events(3*time.Second, 1500, laminar(0.99)); len(e) != 1 {
		t.Fatal("not captured after it")
	}
}

// A restart takes up what ran: what is captured stays so, repeats go on counting, and
// an observation of before is contradicted.
func TestRestore(t *testing.T) {
	b := newBench(t)
	plan, err := b.n.cfg.NewPlan(*twoPoints.Own)
	if err != nil {
		t.Fatal(err)
	}
	b.n.Restore(&daq.Remembered{ID: "one", Plan: plan, Points: []daq.RememberedPoint{{Point: "25 Cel, laminar"}, {Point: "25 Cel, Re 3000", Spoilt: "not steady"}},
		Observations: []daq.RememberedSight{{Time: nine, Seen: "turbulent", Approach: "unknown", Reynolds: 1400, Celsius: 25}}})
	if e := b.events(70*time.Second, 1500, laminar(0.99)); len(e) > 0 {
		t.Fatal("captured again")
	}
	if o := b.must(&daq.ObserveAsk{Seen: "laminar"}).Observation; !o.Contradicts.Equal(nine) || o.Experiment != "one" {
		t.Errorf("%+v", o)
	}
	e := b.events(70*time.Second, 3000)
	if len(e) != 2 || e[0].TestPoint.Repeat != 1 || e[1].Experiment.Action != "done" {
		t.Fatalf("%+v", e)
	}
}

// Nobody is told to heat, or to cool with water, while an alarm stands or the permit
// is not given; and what is warmer is approached before what is colder.
func TestAdvice(t *testing.T) {
	b := newBench(t)
	b.must(&daq.StartExperimentAsk{Own: &config.PlanText{Name: "warm", Points: []config.PointText{
		{Temperature: "25 Cel", Regimes: []string{"laminar"}}, {Temperature: "45 Cel", Regimes: []string{"laminar"}}}}})
	at := func(celsius, rate float64) func(*daq.State) {
		return func(s *daq.State) {
			s.Values.Put(quantity.Temperature, celsius)
			s.Values.Put(quantity.TemperatureRate, rate)
			s.Values.PutBool(quantity.Steady, false)
			s.Values.Put(quantity.SettlingSeconds, 38)
			s.Values.Put(quantity.LaminarLimitFlow, 1.2e-5)
		}
	}
	alarm := func(s *daq.State) {
		s.Alarms = []daq.AlarmStatus{{Name: "water-overheat", Trips: true, CauseStands: true}}
	}
	for _, c := range []struct {
		want   string
		change []func(*daq.State)
	}{
		{"raise the heater to 45 °C", []func(*daq.State){at(35, 0)}},
		{"wait: 10.0 K to go, about 9 min", []func(*daq.State){at(35, 0.02)}},
		{"lower the heater to 45 °C", []func(*daq.State){at(60, 0)}},
		{"set the valve to 0.54 L/min", []func(*daq.State){at(25, 0)}},
		{"wait until steady at 25 Cel, laminar: about 40 s", []func(*daq.State){at(25, 0), laminar(0.99)}},
		{"look at the alarm first: water-overheat", []func(*daq.State){at(35, 0), alarm}},
		{"look at the alarm first: trip-ineffective", []func(*daq.State){at(35, 0), func(s *daq.State) {
			s.Alarms = []daq.AlarmStatus{{Name: "trip-ineffective", Priority: "high", Active: true}}
		}}},
	} {
		b.run(200*time.Millisecond, 3000, c.change...)
		if next := b.s.Experiment.Next; !strings.HasPrefix(next, c.want) || strings.Contains(next, "cold") {
			t.Errorf("%q, want %q", next, c.want)
		}
	}
	if r := b.s.Experiment.Remaining; r != nil {
		t.Errorf("%g s remain, of which nothing is known", *r)
	}
}

// The flow to set stands while what it is computed from scatters; it is told anew once it
// has moved by more than 1 %, however slowly, and for another condition.
func TestTheFlowToSetStands(t *testing.T) {
	b := newBench(t)
	b.must(&daq.StartExperimentAsk{Own: &config.PlanText{Name: "steps", Points: []config.PointText{{Temperature: "25 Cel", Reynolds: []float64{1500, 1600}}}}})
	says := func(want, point string, limit float64) {
		t.Helper()
		b.run(200*time.Millisecond, 3000, func(s *daq.State) { s.Values.Put(quantity.LaminarLimitFlow, limit) })
		if next := b.s.Experiment.Next; next != "set the valve to "+want+" L/min for 25 Cel, Re "+point {
			t.Errorf("%q, want %s", next, want)
		}
	}
	const at = 1.3555e-5 // m³/s for Re 2000: 0.60998 L/min for Re 1500
	for i := range 20 {
		says("0.61", "1500", at*(1+0.009*float64((i+1)%3-1)))
	}
	says("0.61", "1500", at*1.0099)
	says("0.62", "1500", at*1.0101) // 0.6161
	says("0.62", "1500", at*1.001)
	says("0.61", "1500", at*0.9999) // 1.01 % back
	says("0.61", "1500", at*1.009)
	b.run(70*time.Second, 1500)
	says("0.66", "1600", at*1.009)
	var one told
	if first, other := one.hold("a", 1e-5), one.hold("b", 1.001e-5); first != 1e-5 || other != 1.001e-5 {
		t.Errorf("%g, for another condition %g", first, other)
	}
}

func TestStop(t *testing.T) {
	b := newBench(t)
	b.run(time.Second, 1500)
	b.refused("no experiment runs", &daq.StopExperimentAsk{Experiment: "x"})
	b.refused("the configuration has none", &daq.StartExperimentAsk{Plan: "x"})
	id := b.must(twoPoints).Experiment.ID
	b.refused(id+" does", &daq.StopExperimentAsk{Experiment: "x"})
	if x := b.must(&daq.StopExperimentAsk{Experiment: id}).Experiment; x.Action != "stopped" || x.Who != "dana" {
		t.Errorf("%+v", x)
	}
	b.must(twoPoints)
}
