//go:build unix

package main

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The permit of rig.toml: the relay's watchdog, and how much later the truth
// may show what the relay did: a beat of the rig, a line of its file, and a
// loaded machine.
const (
	relayHolds = 3 * time.Second
	rigTick    = 200 * time.Millisecond
	truthLate  = 250 * time.Millisecond
)

// mishap is a scenario with what is expected of it.
type mishap struct {
	name     string
	setUp    setUp
	alarm    string // that drops the permit; "" when nothing can see it
	began    func(truth) bool
	after    time.Duration // of the rig's start, where the truth does not show it
	within   time.Duration // of the alarm after that
	watchFor time.Duration // after the drop, for the peak
	unseen   string        // what is not detected
}

func above75(h truth) bool { return h.number("temperature_celsius") > 75 }

// without takes an instrument out of rig.toml.
func without(name string) func(string) string {
	table := regexp.MustCompile(`(?m)^\[instruments\.` + name + `\]\n(?:[^\[\n].*\n)+`)
	return func(text string) string { return table.ReplaceAllString(text, "") }
}

var mishaps = []mishap{
	{name: "relay-welded", setUp: setUp{scenario: "relay-welded", speed: "3"}, alarm: "water-overheat", began: above75,
		within: 30 * time.Second,
		unseen: "without heater_on, a welded relay whose heat does not raise the temperature"},
	{name: "overheat", setUp: setUp{scenario: "overheat", speed: "3"}, alarm: "water-overheat", began: above75,
		within: 30 * time.Second, watchFor: 10 * time.Second,
		unseen: "heat upstream of the probe, unless the heater's outlet or the tank is measured"},
	{name: "dry-heating", setUp: setUp{scenario: "dry-heating"}, alarm: "heating-without-supply",
		began:  func(h truth) bool { return h.is["supply_on"] == false && h.heating() },
		within: 8 * time.Second, watchFor: 15 * time.Second,
		unseen: "a meter that turns without water"},
	{name: "dry-heating, supply not measured", setUp: setUp{scenario: "dry-heating", change: without("supply_flow")},
		began:  func(h truth) bool { return h.is["supply_on"] == false && h.heating() },
		unseen: "all of it: the cut-out alone ends it. Fit a hard-wired flow interlock"},
	{name: "frozen-sensor (level)", setUp: setUp{scenario: "frozen-sensor"}, alarm: "instrument-fault-level", after: 10 * time.Second,
		within: 25 * time.Second, watchFor: time.Second,
		unseen: "without frozen_after, or for as long as it says: a level that stands still in truth looks the same"},
	{name: "head-loss", setUp: setUp{scenario: "head-loss"}, alarm: "head-lost",
		began:  func(h truth) bool { return h.number("level_meters") < 0.230 },
		within: 5 * time.Second, watchFor: 3 * time.Second,
		unseen: "a loss of less than 20 mm"},
	{name: "cable-pull", setUp: setUp{scenario: "cable-pull"}, alarm: "instrument-fault-temperature", after: 10 * time.Second,
		within: 4 * time.Second, watchFor: 9 * time.Second, // the cable is back meanwhile
		unseen: "a cable that is back before the reading is stale"},
	{name: "probe-out", setUp: setUp{scenario: "probe-out"}, alarm: "temperature-implausible", after: 10 * time.Second,
		within: 12 * time.Second, watchFor: time.Second,
		unseen: "a probe that slips out while the water is near the room's temperature, until heating from cold has shown nothing for 5 min"},
	{name: "level-failed (high)", setUp: setUp{scenario: "level-failed"}, alarm: "instrument-fault-level", after: 10 * time.Second,
		within: 4 * time.Second, watchFor: time.Second,
		unseen: "a sensor that is wrong within its range"},
	{name: "open-sensor", setUp: setUp{scenario: "open-sensor"}, alarm: "instrument-fault-temperature", after: 10 * time.Second,
		within: 4 * time.Second, watchFor: time.Second,
		unseen: "a bare open junction that shows the cold junction's temperature, but for its fall"},
}

// A person has given the permit, and then something happens to the rig. The
// permit falls with the alarm, stays down, and is not given while the trip
// stands. The rows of the table in DEVELOPERS.md are printed; there the two
// slow scenarios ran with the clock, at speed 1.
func TestMishaps(t *testing.T) {
	for _, m := range mishaps {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			g := newGuarded(t, m.setUp)
			if m.alarm == "" {
				m.unseenBy(g)
				return
			}
			m.play(g)
		})
	}
}

// play waits for the drop and holds it against what is due.
func (m mishap) play(g *guarded) {
	g.t.Helper()
	g.until(3*time.Minute, "the relay has dropped", func(h truth) bool { return !h.permitted() })
	dropped := g.dropped()
	within(g.t, 5*time.Second, "the alarm is journalled", func() bool { return !g.raised(m.alarm).IsZero() })
	alarm, began := g.raised(m.alarm), m.begin(g)
	if late := alarm.Sub(began); late > m.within || late < -m.within {
		g.t.Errorf("%s came %v after %v, want %v at most", m.alarm, late, began, m.within)
	}
	// The on-delay is over when the alarm is raised; two intervals are left.
	if late := dropped.Sub(alarm); late > 2*rigTick+truthLate {
		g.t.Errorf("the relay fell %v after the alarm, want two intervals of %v", late, rigTick)
	}
	if m.name == "relay-welded" {
		m.ineffective(g, dropped)
	}
	g.until(time.Minute, "some time after the drop", func(h truth) bool { return h.at.After(dropped.Add(m.watchFor)) })
	if g.dropped() != dropped {
		g.t.Error("the relay was energised again without a person")
	}
	m.refuses(g)
	m.row(g, began, alarm, dropped)
}

// begin is when the danger is there: by the truth, or by the scenario.
func (m mishap) begin(g *guarded) time.Time {
	if m.began == nil {
		return g.truths[0].at.Add(m.after)
	}
	return g.first(m.began).at
}

// refuses: while the trip stands nobody gets the permit, and the journal says
// who asked and why not; it also says why the permit fell, and once.
func (m mishap) refuses(g *guarded) {
	g.t.Helper()
	status, answer := g.permit("give")
	if status != 409 || !strings.Contains(answer, "a trip stands: ") || !strings.Contains(answer, m.alarm) {
		g.t.Errorf("asked for the permit while a trip stands: %d %s", status, answer)
	}
	note := func(kind string) string {
		return g.journal(`SELECT group_concat(who || '|' || text, '; ') FROM note WHERE kind = ?`, kind)
	}
	if got, want := note("permit"), "demonstrator|heating permit given; |heating permit dropped: alarm "+m.alarm; got != want {
		g.t.Errorf("the journal says %q, want %q", got, want)
	}
	if got := note("refused"); !strings.Contains(got, "demonstrator|give heating permit: refused: a trip stands") {
		g.t.Errorf("the refusal is journalled as %q", got)
	}
}

// ineffective: the permit is down and the heater is not; that is told after its
// half minute.
func (m mishap) ineffective(g *guarded, dropped time.Time) {
	g.t.Helper()
	within(g.t, 40*time.Second, "trip-ineffective", func() bool { return !g.raised("trip-ineffective").IsZero() })
	if late := g.raised("trip-ineffective").Sub(dropped); late < 29*time.Second || late > 33*time.Second {
		g.t.Errorf("trip-ineffective came %v after the drop, want 30 s", late)
	}
	if !g.now().heating() {
		g.t.Error("the welded relay has let the heater go")
	}
	g.t.Logf("trip-ineffective %v after the drop", g.raised("trip-ineffective").Sub(dropped).Round(100*time.Millisecond))
}

// unseenBy: what no instrument shows raises nothing, and check has said so.
func (m mishap) unseenBy(g *guarded) {
	g.t.Helper()
	out, _, code := call(g.t, program, "check", "--config", g.config)
	if code != 0 || !strings.Contains(out, "dry heating is not detected") {
		g.t.Errorf("check ends with %d and says\n%s", code, out)
	}
	g.until(2*time.Minute, "the cut-out has opened", func(h truth) bool { return h.number("heater_outlet_celsius") >= 97.5 && !h.heating() })
	if !g.now().permitted() || g.journal(`SELECT group_concat(name) FROM alarm_event`) != "" {
		g.t.Errorf("permitted %v, alarms %s", g.now().permitted(), g.journal(`SELECT group_concat(name) FROM alarm_event`))
	}
	g.t.Logf("| %s | none | none | %.1f water, %.1f heater | %s |", m.name, g.peak("temperature_celsius"), g.peak("heater_outlet_celsius"), m.unseen)
}

func (m mishap) row(g *guarded, began, alarm, dropped time.Time) {
	after := func(at time.Time) string { return fmt.Sprintf("%.1f s", at.Sub(began).Seconds()) }
	g.t.Logf("| %s | %s, %s | %s | %.1f water, %.1f heater | %s |", m.name, m.alarm, after(alarm), after(dropped),
		g.peak("temperature_celsius"), g.peak("heater_outlet_celsius"), m.unseen)
}
