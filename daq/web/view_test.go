package web

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

const thin = "\u202f"

// TestPair: JCGM 100:2008, 7.2.6: two digits of the uncertainty, and the value
// to the same place.
func TestPair(t *testing.T) {
	for _, c := range []struct {
		v, u        float64
		value, unce string
	}{
		{1834.2, 35.7, "1" + thin + "834", "36"},
		{15890, 302, "15" + thin + "890", "300"},
		{99.96, 0.996, "99.96", "1.00"},
		{12.3456, 0.0123, "12.346", "0.012"},
		{2e6, 123456, "2" + thin + "000" + thin + "000", "120" + thin + "000"},
		{1834.2, 0, "1" + thin + "834", ""},
		{1834.2, math.NaN(), "1" + thin + "834", ""},
	} {
		if v, u := pair(c.v, c.u); v != c.value || u != c.unce {
			t.Errorf("%v ± %v: %s ± %s; want %s ± %s", c.v, c.u, v, u, c.value, c.unce)
		}
	}
}

func TestGroup(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{0, 0, "0"}, {999, 0, "999"}, {1000, 0, "1" + thin + "000"}, {-1234567.8, 1, "\u22121" + thin + "234" + thin + "567.8"}, {-0.001, 1, "0.0"},
	} {
		if got := group(c.v, c.decimals); got != c.want {
			t.Errorf("%v: %q; want %q", c.v, got, c.want)
		}
	}
}

func TestPercentClaimsNoCertainty(t *testing.T) {
	for p, want := range map[float64]string{0: "< 0.1 %", 1: "> 99.9 %", 0.5: "50 %", 0.995: "99.5 %", 0.0042: "0.4 %"} {
		got := strings.NewReplacer(thin, " ", "\u00a0", " ").Replace(percent(p))
		if got != want {
			t.Errorf("%v: %q; want %q", p, got, want)
		}
	}
}

// TestBenchUnits: 1 L/min is 1/60000 m³/s exactly; the rest are prefixes.
func TestBenchUnits(t *testing.T) {
	var s quantity.Set
	s.Put(quantity.Flow, 1.0/60000)
	s.Put(quantity.Level, 0.2512)
	s.Put(quantity.TemperatureRate, 0.5/60)
	s.PutBool(quantity.SupplyOn, true)
	for id, want := range map[quantity.ID]string{quantity.Flow: "1.000 L/min", quantity.Level: "251.2 mm",
		quantity.TemperatureRate: "0.50 K/min", quantity.SupplyOn: "yes", quantity.Tank: unknown, quantity.Regime: "unknown"} {
		if got := strings.ReplaceAll(bench(&s, id), "\u00a0", " "); got != want {
			t.Errorf("%s: %q; want %q", id.Name(), got, want)
		}
	}
}

func TestEveryQuantityHasAUnitOfTheBench(t *testing.T) {
	for id := range quantity.Count {
		row := quantity.Table[id]
		if row.Unit != "" && benchUnit(id).sign == "" {
			t.Errorf("%s in %s has none", row.Name, row.Unit)
		}
	}
}

// TestRulerIsLogarithmic: a decade has the same length anywhere.
func TestRulerIsLogarithmic(t *testing.T) {
	decade := rulerLength / 3
	for _, c := range []struct{ re, at float64 }{{100, rulerLeft}, {1000, rulerLeft + decade}, {1e5, rulerLeft + rulerLength},
		{1, rulerLeft}, {0, rulerLeft}, {-5, rulerLeft}, {1e9, rulerLeft + rulerLength}, {2000, rulerLeft + decade*(1+math.Log10(2))}} {
		if got := onRuler(c.re); math.Abs(got-c.at) > 1e-9 {
			t.Errorf("Re %v at %v; want %v", c.re, got, c.at)
		}
	}
}

// The flows to set are those of the water where the dye is watched, and its temperature
// stands beside them; without flow it is the inlet's.
func TestTheFlowsToSetSayOfWhichWater(t *testing.T) {
	f := testFacts()
	var s quantity.Set
	s.Put(quantity.Temperature, 50.5)
	for _, want := range []string{"50.5 °C", "50.3 °C, where the dye is watched"} {
		if got := strings.ReplaceAll(rulerOf(&s, &f).AtTemperature, "\u00a0", " "); got != want {
			t.Errorf("at %q, want %q", got, want)
		}
		s.Put(quantity.TubeTemperature, 50.3)
	}
}

func TestHeadRuler(t *testing.T) {
	f := testFacts()
	var s quantity.Set
	for _, c := range []struct {
		level   float64
		at      float64
		off     string
		against string
	}{
		{0.250, headTop + headLength/4, "", "at the lip"},
		{0.230, headTop + headLength/2, "", "20.0 mm below the lip"},
		{0.2512, headTop + headLength*0.235, "", "1.2 mm above the lip"},
		{0.050, headFoot, "below the drawing", "200.0 mm below the lip"},
		{0.400, headTop, "above the drawing", "150.0 mm above the lip"},
	} {
		s.Put(quantity.Level, c.level)
		h := headOf(&s, &f)
		if math.Abs(h.At-c.at) > 1e-9 || h.Off != c.off || strings.ReplaceAll(h.Against, "\u00a0", " ") != c.against {
			t.Errorf("level %v: %+v", c.level, h)
		}
	}
}

func TestNoticesAndAdvice(t *testing.T) {
	f := testFacts()
	for _, c := range []struct {
		name   string
		state  *daq.State
		reason error
		notice string // one that must be there
		advice string // the first
	}{
		{"calm", steadyState(), nil, "Dry heating is not detected", "A reading may be noted"},
		{"hot", hotState(), nil, "Hot water, 76.4", "Switch the heater off"},
		{"bad", badState(), nil, "Dry heating", "See that the cable"},
		{"hung", nil, errFake, "No values: no answer for 3 s", "Go to the rig"},
	} {
		v := viewOf(c.state, c.reason, nil, daq.Identity{}, &f, talk{})
		found := false
		for _, n := range v.Notices {
			found = found || strings.Contains(strings.ReplaceAll(n.Text, "\u00a0", " "), c.notice)
		}
		for _, text := range v.Remarks {
			found = found || strings.Contains(text, c.notice)
		}
		if !found || len(v.Advice) == 0 || !strings.HasPrefix(v.Advice[0], c.advice) {
			t.Errorf("%s: notices %v, advice %v", c.name, v.Notices, v.Advice)
		}
	}
}

// TestSupplyEvidenceSilencesTheHint: with a supply sensor dry heating is
// watched, and the page does not say otherwise.
func TestSupplyEvidenceSilencesTheHint(t *testing.T) {
	f := testFacts()
	f.Instruments = append(f.Instruments, quantity.SupplyOn)
	for _, n := range viewOf(steadyState(), nil, nil, daq.Identity{}, &f, talk{}).Remarks {
		t.Errorf("remark %v", n)
	}
}

// TestUnansweredFirst: what nobody has answered stands above a held one.
func TestUnansweredFirst(t *testing.T) {
	f := testFacts()
	cards := alarmCards(hotState(), &f)
	if cards[0].Name != "water-overheat" || cards[0].Next[0].Verb != daq.Acknowledge || cards[1].Next[0].Verb != daq.Reset {
		t.Errorf("cards = %+v", cards)
	}
	if want := "value 76.4 °C, limit 75.0 °C"; strings.ReplaceAll(cards[0].Figures, "\u00a0", " ") != want {
		t.Errorf("figures = %q", cards[0].Figures)
	}
}

// TestPageEscapes: what instruments and configuration say stays text.
func TestPageEscapes(t *testing.T) {
	b := testBed(t, nil)
	s := badState()
	s.Quality[quantity.Temperature].Why = `<script>alert(1)</script>`
	s.Warnings = []string{`<img src=x>`}
	b.rig.set(func(f *fakeRig) { f.state = s })
	_, _, text := b.ask("GET", "/", "", "")
	if strings.Contains(text, "<script>alert") || strings.Contains(text, "<img") || !strings.Contains(text, "&lt;script&gt;alert(1)") {
		t.Error("text from outside became markup")
	}
}

// TestWarningsAreSentences: the clauses of the state stand on the page as
// sentences among the others.
func TestWarningsAreSentences(t *testing.T) {
	s := steadyState()
	s.Warnings = []string{"tube is short"}
	list := noticesOf(s, nil, nil, &Facts{Instruments: []quantity.ID{quantity.SupplyOn}})
	if want := (notice{"hint", "Tube is short."}); !slices.Contains(list, want) {
		t.Errorf("notices %v, want %v among them", list, want)
	}
}

// TestSignsDiffer: the three threads are three drawings, within the tube.
func TestSignsDiffer(t *testing.T) {
	seen := map[string]bool{}
	for _, b := range quantity.Bands {
		s := signOf(b)
		if seen[s.Path] || s.Says == "" {
			t.Errorf("%v: drawn as another", b)
		}
		seen[s.Path] = true
	}
}

func TestPageWithoutScripts(t *testing.T) {
	b := testBed(t, nil)
	status, header, text := b.ask("GET", "/", "", "")
	if status != 200 || header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("%d %v", status, header)
	}
	for _, want := range []string{"1" + thin + "834", "laminar", "0.712", "42.0", "251.2", "No alarm.", `<noscript><meta http-equiv="refresh" content="5">`} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the page", want)
		}
	}
	if strings.Contains(text, `style="`) || strings.Contains(text, "http://") || strings.Contains(text, "https://") {
		t.Error("the page has inline styles or something from a network")
	}
}

// TestZone: by the IANA database's rules Kolkata is 5.5 h east; what is another day
// there has its date.
func TestZone(t *testing.T) {
	zone, err := time.LoadLocation("Asia/Kolkata")
	must(t, err)
	f := &Facts{Zone: zone}
	at := time.Date(2026, 3, 4, 18, 29, 59, 0, time.UTC)
	for _, c := range []struct{ got, want string }{
		{clock(at, f), "2026-03-04 23:59:59 IST"},
		{clock(at, &Facts{}), "2026-03-04 18:29:59 UTC"},
		{since(at, at, f), "23:59:59"},
		{since(at, at.Add(time.Second), f), "4 March 2026, 23:59:59"},
		{since(at, at.Add(time.Second), &Facts{}), "18:29:59"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
	b := testBed(t, func(o *Options) { o.Facts.Zone = zone })
	_, _, text := b.ask("GET", "/api/trend?quantity=level&from=2026-03-04T18:00:00Z&to=2026-03-04T19:00:00Z", "", "")
	got := decode[trendHead](t, text)
	if got.From != "2026-03-04T18:00:00.000000Z" || got.FromLocal != "2026-03-04T23:30:00+05:30" || got.ToLocal != "2026-03-05T00:30:00+05:30" {
		t.Errorf("trend from %s, %s to %s", got.From, got.FromLocal, got.ToLocal)
	}
}

// TestMeanings: a shelved alarm says that it trips and how long it is silent; one
// that holds the permit says so in every state.
func TestMeanings(t *testing.T) {
	s := steadyState()
	for _, c := range []struct {
		alarm daq.AlarmStatus
		want  string
	}{
		{daq.AlarmStatus{State: "shelved", Until: s.Time.Add(time.Hour), Trips: true}, "Shelved until 10:30:00: no notification, but it still trips the heating permit."},
		{daq.AlarmStatus{State: "shelved", Until: s.Time.Add(time.Hour), Trips: true, CauseStands: true, Tripped: true},
			"Shelved until 10:30:00: no notification, but it still trips the heating permit. Its cause stands. It holds the heating permit off until it is reset."},
		{daq.AlarmStatus{State: "shelved", Until: s.Time.Add(time.Hour)}, "Shelved until 10:30:00: no notification."},
		{daq.AlarmStatus{State: "out-of-service"}, "Out of service: no notification, and it trips nothing."},
		{daq.AlarmStatus{State: "out-of-service", Trips: true}, "Out of service: no notification, and it trips nothing. Meanwhile the heating permit is given only to a request that names it."},
		{daq.AlarmStatus{State: "latched-acknowledged"}, "Cause gone; latched until reset."},
	} {
		if got := meaning(c.alarm, s, &Facts{}); got != c.want {
			t.Errorf("%+v: %q, want %q", c.alarm, got, c.want)
		}
	}
}

// TestAdviceWaitsForWhatPresses: while an alarm of high priority or a trip wants
// something, nothing is said of noting readings or of the valve.
func TestAdviceWaitsForWhatPresses(t *testing.T) {
	still := steadyState()
	still.Values.Put(quantity.Regime, float64(quantity.NoFlow))
	rising := steadyState()
	rising.Values.Put(quantity.SecondsToOverheat, 240)
	tripped := steadyState()
	tripped.Tripped = []string{"temperature-implausible"}
	tripped.Values.Put(quantity.SecondsToOverheat, 240)
	high := steadyState()
	high.Alarms = []daq.AlarmStatus{{Name: "instrument-fault-flow", Priority: "high", State: "acknowledged", Active: true, CauseStands: true, Action: "Look."}}
	low := steadyState()
	low.Alarms = []daq.AlarmStatus{{Name: "broker-lost", Priority: "medium", State: "acknowledged", Active: true, CauseStands: true, Action: "Look."}}
	const note = "A reading may be noted. Re gives a band; only the dye shows the flow."
	for name, c := range map[string]struct {
		state *daq.State
		want  []string
	}{
		"no flow": {still, []string{"No measurable flow: once tube and tank are about equally warm, open the tube valve slightly."}},
		"rising":  {rising, []string{"At its present rate the water reaches its overheat limit in 4 min: set the heater lower, or switch it off at its own switch.", note}},
		"tripped": {tripped, []string{"Make sure that the cause of temperature-implausible is gone for good, then reset it."}},
		"high":    {high, []string{"Look."}},
		"low":     {low, []string{"Look.", note}},
	} {
		if got := adviceOf(c.state, nil); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// TestASilencedAlarmAsksForNothing: a shelved alarm whose cause does not stand, and
// one out of service, tell nobody what to do; a shelved one whose cause stands does.
func TestASilencedAlarmAsksForNothing(t *testing.T) {
	for _, c := range []struct {
		state  string
		stands bool
		want   bool
	}{{"shelved", false, false}, {"shelved", true, true}, {"out-of-service", false, false}, {"suppressed", false, false},
		{"acknowledged", true, true}, {"latched-unacknowledged", false, true}} {
		b := testBed(t, nil)
		s := steadyState()
		s.Alarms = []daq.AlarmStatus{{Name: "head-lost", Priority: "high", State: c.state, CauseStands: c.stands, Action: "Look.", Cause: "The head is lost."}}
		b.rig.set(func(f *fakeRig) { f.state = s })
		_, _, page := b.ask("GET", "/", "", "")
		if asks := strings.Contains(page, "<strong>Do:</strong> Look."); asks != c.want || strings.Contains(page, "The head is lost.") != c.want {
			t.Errorf("%s, cause stands %v: asks %v", c.state, c.stands, asks)
		}
	}
}
