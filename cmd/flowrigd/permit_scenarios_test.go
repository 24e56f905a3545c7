//go:build unix

package main

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"path/filepath"
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

// mishapsReal lets TestMishaps play by the machine's clock, which takes minutes.
var mishapsReal = flag.Bool("mishaps.real", false, "by the machine's clock, rig and daemon each in a process of its own")

// mishap is a scenario with what is expected of it, as measured at speed 1.
type mishap struct {
	name, scenario string
	without        string // an instrument that the rig lacks
	alarm          string // that drops the permit; "" when nothing can see it
	began          func(truth) bool
	at             time.Duration // of the scenario's move, where the truth does not show it
	after          time.Duration // of the alarm after that
	watchFor       time.Duration // after the drop, for the peak
	water, heater  float64       // the highest true temperatures, Cel; 0 is that of the start
	unseen         string        // what is not detected
}

func above75(h truth) bool { return h.number("temperature_celsius") > 75 }

// without takes an instrument out of rig.toml; "" takes none.
func without(name string) func(string) string {
	table := regexp.MustCompile(`(?m)^\[instruments\.` + name + `\]\n(?:[^\[\n].*\n)+`)
	return func(text string) string { return table.ReplaceAllString(text, "") }
}

// dry is a rig that heats without water from its supply.
func dry(h truth) bool { return h.is["supply_on"] == false && h.heating() }

var mishaps = []mishap{
	{name: "relay-welded", scenario: "relay-welded", alarm: "water-overheat", began: above75, after: 26400 * time.Millisecond, water: 77.8, heater: 84.8,
		unseen: "without heater_on, a welded relay whose heat does not raise the temperature"},
	{name: "overheat", scenario: "overheat", alarm: "water-overheat", began: above75, after: 26400 * time.Millisecond, water: 76.5, heater: 84.8,
		watchFor: 10 * time.Second,
		unseen:   "heat upstream of the probe, unless the heater's outlet or the tank is measured"},
	{name: "dry-heating", scenario: "dry-heating", alarm: "heating-without-supply", began: dry, after: 4400 * time.Millisecond, heater: 65.6,
		watchFor: 15 * time.Second,
		unseen:   "a meter that turns without water"},
	{name: "dry-heating, supply not measured", scenario: "dry-heating", without: "supply_flow", began: dry, heater: 98.1,
		unseen: "all of it: the cut-out alone ends it. Fit a hard-wired flow interlock"},
	{name: "frozen-sensor (level)", scenario: "frozen-sensor", alarm: "instrument-fault-level", at: 10 * time.Second, after: 19900 * time.Millisecond,
		watchFor: time.Second,
		unseen:   "without frozen_after, or for as long as it says: a level that stands still in truth looks the same"},
	{name: "head-loss", scenario: "head-loss", alarm: "head-lost", after: 2100 * time.Millisecond,
		began:    func(h truth) bool { return h.number("level_meters") < 0.230 },
		watchFor: 3 * time.Second,
		unseen:   "a loss of less than 20 mm"},
	{name: "cable-pull", scenario: "cable-pull", alarm: "instrument-fault-temperature", at: 10 * time.Second, after: 1600 * time.Millisecond,
		watchFor: 9 * time.Second, // the cable is back meanwhile
		unseen:   "a cable that is back before the reading is stale"},
	{name: "probe-out", scenario: "probe-out", alarm: "temperature-implausible", at: 10 * time.Second, after: 4600 * time.Millisecond,
		watchFor: time.Second,
		unseen:   "a probe that slips out while the water is near the room's temperature, until heating from cold has shown nothing for 5 min"},
	{name: "level-failed (high)", scenario: "level-failed", alarm: "instrument-fault-level", at: 10 * time.Second, after: 2 * time.Second,
		watchFor: time.Second,
		unseen:   "a sensor that is wrong within its range"},
	{name: "open-sensor", scenario: "open-sensor", alarm: "instrument-fault-temperature", at: 10 * time.Second, after: 2 * time.Second,
		watchFor: time.Second,
		unseen:   "a bare open junction that shows the cold junction's temperature, but for its fall"},
}

// A person has given the permit, and then something happens to the rig. The
// permit falls with the alarm, as long after the danger as at speed 1, stays down,
// and is not given while the trip stands. Rig and daemon share one clock of ten
// times the machine's, or have the machine's each. The rows of the table in
// DEVELOPERS.md are printed.
func TestMishaps(t *testing.T) { // beside each other alone: they measure
	for _, m := range mishaps {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			g := m.begin(t)
			if m.alarm == "" {
				m.unseenBy(g)
			} else {
				m.play(g)
			}
			if !*mishapsReal {
				g.atEnd()
			}
		})
	}
}

// begin starts the rig with its permit given.
func (m mishap) begin(t *testing.T) *guarded {
	t.Helper()
	if *mishapsReal {
		return newGuarded(t, setUp{scenario: m.scenario, change: without(m.without)})
	}
	var env []string
	if m.without != "" {
		env = []string{"FLOWRIGD_WITHOUT=" + m.without}
	}
	g := quick(t, m.scenario, "10", env...)
	g.until(90*time.Second, "the relay is energised", truth.permitted)
	g.config = filepath.Join(filepath.Dir(g.truthAt), "rig.toml")
	g.token, g.giver = addToken(t, g.config, "operate", "demonstrator"), "simulated demonstrator"
	return g
}

// play waits for the drop and holds it against what is due.
func (m mishap) play(g *guarded) {
	g.t.Helper()
	g.until(5*time.Minute, "the relay has dropped", func(h truth) bool { return !h.permitted() && !g.dropped().IsZero() })
	dropped := g.dropped()
	within(g.t, 5*time.Second, "the alarm is journalled", func() bool { return !g.raised(m.alarm).IsZero() })
	alarm, began := g.raised(m.alarm), g.started().Add(m.at)
	if m.began != nil {
		began = g.first(m.began).at
	}
	if late := alarm.Sub(began); late < m.after-mishapLate || late > m.after+mishapLate {
		g.t.Errorf("%s came %v after the danger, want %v", m.alarm, late, m.after)
	}
	// The on-delay is over when the alarm is raised; two intervals are left.
	late := truthLate
	if !*mishapsReal {
		late = mishapLate
	}
	if took := dropped.Sub(alarm); took > 2*rigTick+late {
		g.t.Errorf("the relay fell %v after the alarm, want two intervals of %v", took, rigTick)
	}
	if first := g.journal(`SELECT name FROM alarm_event ORDER BY sequence LIMIT 1`); first != m.alarm {
		g.t.Errorf("the first alarm is %s", first)
	}
	if m.name == "relay-welded" {
		m.ineffective(g, dropped)
	}
	g.until(time.Minute, "some time after the drop", func(h truth) bool { return h.at.After(dropped.Add(m.watchFor)) })
	if g.dropped() != dropped {
		g.t.Error("the relay was energised again without a person")
	}
	m.refuses(g)
	m.warms(g)
	m.row(g, began, alarm, dropped)
}

// warms holds the highest temperatures. A heater without water warms by some 2.5 K
// in each second that an alarm may come later.
func (m mishap) warms(g *guarded) {
	g.t.Helper()
	for name, want := range map[string]float64{"temperature_celsius": cmp.Or(m.water, 42), "heater_outlet_celsius": cmp.Or(m.heater, 42.2)} {
		if got := g.peak(name); math.Abs(got-want) > 2.5 {
			g.t.Errorf("%s was %.1f at most, want %.1f", name, got, want)
		}
	}
}

// mishapLate is how much earlier or later than measured an alarm may come: the
// readings of a slow instrument fall anywhere, and a shared clock stands only
// once work is 0.2 s overdue. Under the race detector the program has another speed: how
// soon an alarm comes is measured without it.
var mishapLate = map[bool]time.Duration{false: time.Second, true: 3 * time.Second}[raced]

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
	if got, want := note("permit"), g.giver+"|heating permit given; |heating permit dropped: alarm "+m.alarm; got != want {
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
	papers := write(g.t, filepath.Join(g.dir, "without.toml"), without(m.without)(read(g.t, g.config)))
	out, _, code := call(g.t, program, "check", "--config", papers)
	if code != 0 || !strings.Contains(out, "dry heating is not detected") {
		g.t.Errorf("check ends with %d and says\n%s", code, out)
	}
	g.until(2*time.Minute, "the cut-out has opened", func(h truth) bool { return h.number("heater_outlet_celsius") >= 97.5 && !h.heating() })
	if !g.now().permitted() || g.journal(`SELECT group_concat(name) FROM alarm_event`) != "" {
		g.t.Errorf("permitted %v, alarms %s", g.now().permitted(), g.journal(`SELECT group_concat(name) FROM alarm_event`))
	}
	m.warms(g)
	g.t.Logf("| %s | none | none | %.1f water, %.1f heater | %s |", m.name, g.peak("temperature_celsius"), g.peak("heater_outlet_celsius"), m.unseen)
}

func (m mishap) row(g *guarded, began, alarm, dropped time.Time) {
	after := func(at time.Time) string { return fmt.Sprintf("%.1f s", at.Sub(began).Seconds()) }
	g.t.Logf("| %s | %s, %s | %s | %.1f water, %.1f heater | %s |", m.name, m.alarm, after(alarm), after(dropped),
		g.peak("temperature_celsius"), g.peak("heater_outlet_celsius"), m.unseen)
}
