package report

import (
	"math"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/calc/water"
	"flowrigd/daq"
)

// lit adds rows, one each 10 s, in which Re goes from one value to another while the
// light shows the logistic share of a critical Re, and the water goes from one
// temperature to another.
func (s *recorded) lit(t *testing.T, at time.Time, lasts time.Duration, from, to, critical, cold, warm float64) time.Time {
	t.Helper()
	end := at.Add(lasts)
	for begin := at; at.Before(end); at = at.Add(10 * time.Second) {
		along := at.Sub(begin).Seconds() / lasts.Seconds()
		re, celsius := from*math.Pow(to/from, along), cold+along*(warm-cold)
		w, err := water.At(celsius)
		if err != nil {
			t.Fatal(err)
		}
		row := daq.Row{Time: at}
		for id, v := range map[quantity.ID]float64{
			quantity.Reynolds: re, quantity.ReynoldsUncertainty: 0.03 * re, quantity.TubeTemperature: celsius, quantity.Velocity: re * w.KinematicViscosity / 0.013,
			// of the minute before
			quantity.DisturbedFraction: 1 / (1 + math.Exp(-math.Log(re*math.Pow(to/from, -30/lasts.Seconds())/critical)/0.025)), quantity.Regime: float64(quantity.Transitional),
		} {
			row.Values.Put(id, v)
		}
		s.rows = append(s.rows, row)
	}
	return at
}

// TestCriticalByTheLight: an hour up and an hour down at 20 and at 60 °C, without a soul in
// the hall: four critical Re with intervals, and a verdict for each direction.
func TestCriticalByTheLight(t *testing.T) {
	s := bench(t)
	at := began
	for _, celsius := range []float64{20, 60} {
		at = s.lit(t, at, 50*time.Minute, 1700, 3200, 2400, celsius, celsius)
		at = s.lit(t, at, 60*time.Minute, 3200, 1400, 1800, celsius, celsius).Add(10 * time.Minute)
	}
	r, err := Load(t.Context(), s, Request{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Critical) != 4 || len(r.Verdicts) != 2 {
		t.Fatalf("%d critical Re, %d verdicts, want 4 and 2: %v", len(r.Critical), len(r.Verdicts), r.Critical)
	}
	for i, want := range []struct {
		from        string
		re, celsius float64
	}{{"rising", 2400, 20}, {"rising", 2400, 60}, {"falling", 1800, 20}, {"falling", 1800, 60}} {
		c := r.Critical[i]
		if c.By != "light, half torn" || c.From != want.from || math.Abs(c.Celsius-want.celsius) > 0.01 || c.Fit == nil || !c.Fit.Bounded || math.Abs(c.Fit.Critical.X/want.re-1) > 0.01 {
			t.Errorf("%d: %+v, %+v", i, c, c.Fit)
		}
	}
	for _, v := range r.Verdicts {
		if v.P < 0.2 || v.Used != 2 {
			t.Errorf("%v", v)
		}
	}
	page := written(t, s, "")
	for _, want := range []string{"<td>light, half torn</td><td>rising</td>", "By light, half torn, Re falling, 2 temperatures: the data do not contradict", "torn for less than half up to"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
}

// TestHeatedThroughTheTransition: the valve untouched, the water heated from 20 to 65 °C
// within two hours: one critical Re, at the temperature at which it was passed.
func TestHeatedThroughTheTransition(t *testing.T) {
	s := bench(t)
	s.lit(t, began, 2*time.Hour, 1700, 3900, 2400, 20, 65)
	for i, seen := range []string{"laminar", "transitional", "turbulent"} { // by the light: no second sign
		s.put("observations", daq.Event{Observation: &daq.Observation{Time: began.Add(time.Duration(i+1) * 30 * time.Minute), Seen: seen, Sensor: true, Approach: "rising",
			Conditions: daq.Conditions{Reynolds: number(2000 + 400*float64(i)), ReynoldsUncertainty: number(40), TubeTemperature: number(30)}}})
	}
	r, err := Load(t.Context(), s, Request{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Critical) != 1 || r.Critical[0].Fit == nil || !r.Critical[0].Fit.Bounded {
		t.Fatalf("%+v", r.Critical)
	}
	if c := r.Critical[0]; math.Abs(c.Fit.Critical.X-2400) > 24 || math.Abs(c.Celsius-38.7) > 1 {
		t.Errorf("critical Re %.0f at %.1f °C", c.Fit.Critical.X, c.Celsius)
	}
}

// TestWhatIsNoLook: a minute in which Re moved, one with a gap, one in which the water
// stood; and what came before a stop says nothing of the way after it.
func TestWhatIsNoLook(t *testing.T) {
	at := began
	row := func(every time.Duration, re float64) daq.Row {
		r := daq.Row{Time: at}
		at = at.Add(every)
		r.Values.Put(quantity.Regime, float64(quantity.Laminar))
		if re == 0 {
			r.Values.Put(quantity.Regime, float64(quantity.NoFlow))
			return r
		}
		r.Values.Put(quantity.Reynolds, re)
		return r
	}
	var m minutes
	feed := func(n int, every time.Duration, re, factor float64) {
		for range n {
			m.add(row(every, re))
			re *= factor
		}
	}
	step := func(name string, want int, begins bool) {
		t.Helper()
		if len(m.list) != want || want > 0 && m.list[want-1].begins != begins {
			t.Errorf("%s: %d looks, want %d; begins: %v", name, len(m.list), want, begins)
		}
	}
	feed(7, 10*time.Second, 2000, 1)
	step("the first minute", 1, true)
	feed(6, 10*time.Second, 2000, 1.001)
	step("the next", 2, false)
	feed(6, 10*time.Second, 2012, 1.01)
	step("Re moved", 2, false)
	feed(6, 10*time.Second, 2100, 1)
	step("and stands again", 3, false)
	feed(3, 40*time.Second, 2100, 1)
	step("gaps", 3, false)
	feed(3, 10*time.Second, 0, 1)
	feed(7, 10*time.Second, 2100, 1)
	step("after a stop", 4, true)
	at = at.Add(10 * time.Minute)
	feed(7, 10*time.Second, 2100, 1)
	step("after ten minutes without a row", 5, true)
	feed(3, 20*time.Second, 2100, 1)
	step("three rows", 5, true)
}

// TestSideBySide: a column for each temperature at which test points stand, and none of
// what was struck; one temperature alone has nothing beside it.
func TestSideBySide(t *testing.T) {
	s := sweepOf(t)
	r, err := Results(t.Context(), s, Request{Experiment: "sweep-1"})
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]string{}
	for _, row := range r.sideBySide() {
		rows[row.Name] = row.Cells
	}
	for name, want := range map[string]string{
		"test points": "2 3 3 3", "water at the dye, °C": "20 35 50 65", "Reynolds number": "1760 to 2240|1760 to 2240|1760 to 2240|1760 to 2240",
		"level, mm": unknown + " " + unknown + " " + unknown + " " + unknown, "viscosity, mm²/s": "1.003 0.7234 0.5531 0.4415",
	} {
		got := strings.Join(rows[name], " ")
		if strings.Contains(want, "|") {
			got = strings.Join(rows[name], "|")
		}
		if got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	s.events["test-points"] = s.events["test-points"][:3]
	if r, err = Results(t.Context(), s, Request{Experiment: "sweep-1"}); err != nil || r.sideBySide() != nil {
		t.Errorf("one temperature: %v, %v", r.sideBySide(), err)
	}
}

// TestTheHistoryOfTheMeterFactor: checks of before the experiment stand in its report, as
// such, and in a picture; a struck one in the table alone.
func TestTheHistoryOfTheMeterFactor(t *testing.T) {
	s := sweepOf(t)
	check := func(at time.Time, factor float64) {
		s.put("collections", daq.Event{Collection: &daq.Collection{
			Time: at, Start: at, Stop: at.Add(time.Minute), Seconds: 60, Collected: 2e-5, CollectedU: 1e-7, Metered: 2e-5 / factor, MeteredU: 1e-8, Factor: factor, FactorU: 0.005, Verdict: "outside its accuracy",
		}})
	}
	check(began.Add(-48*time.Hour), 1.021)
	page := written(t, s, "sweep-1")
	for _, want := range []string{"outside its accuracy; before this report’s time", "1.0210 ± 0.0050", "2 checks of the flow meter"} {
		if !strings.Contains(page, strings.ReplaceAll(want, "’", "&#39;")) && !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
	s.put("strikes", daq.Event{Strike: &daq.Strike{Time: began.Add(30 * time.Hour), Who: "operator", Of: daq.KindCollection, Struck: 2, Reason: "the can was wet"}})
	if page := written(t, s, "sweep-1"); strings.Contains(page, "checks of the flow meter") || !strings.Contains(page, "the can was wet") {
		t.Error("a struck check is in the picture, or not in the table")
	}
}

// TestAWideBracketHasNoMiddle: in one step of the valve from Re 6000 to 1500 the flow
// became laminar; that is in the table and makes no critical velocity.
func TestAWideBracketHasNoMiddle(t *testing.T) {
	c := Critical{By: byLight, From: "falling", Celsius: 40}
	c.Limit, c.Known, c.Outcome = transition.Half, true, transition.Separated
	for _, one := range []struct {
		low, high float64
		rows      int
	}{{1700, 2200, 1}, {1500, 6000, 5}} {
		c.HighestBelow.X, c.LowestAbove.X, c.Critical.X = one.low, one.high, (one.low+one.high)/2
		rows := velocities([]Critical{c}, []float64{20, 30, 40, 50, 60}, 0.013, 0.0005)
		if len(rows) != one.rows || (rows[0].Measured > 0) != (one.rows == 1) {
			t.Errorf("%.0f to %.0f: %+v", one.low, one.high, rows)
		}
	}
}
