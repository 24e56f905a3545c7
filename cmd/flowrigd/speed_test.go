//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// quick is a demo whose clock runs faster than the machine's. Its truth stands
// among its temporary files, its recording in the folder record.
func quick(t *testing.T, scenario, speed string) *guarded {
	t.Helper()
	g := &guarded{t: t, dir: t.TempDir(), at: daqtest.FreeAddress(t)}
	g.daemon = startWith(t, []string{"TMPDIR=" + g.dir}, program, "demo", "--scenario", scenario, "--speed", speed,
		"--listen", g.at, "--data", filepath.Join(g.dir, "record"))
	within(t, 10*time.Second, "the demo's truth", func() bool {
		found, _ := filepath.Glob(filepath.Join(g.dir, "flowrigd-demo-*", "truth.jsonl"))
		if len(found) != 1 {
			return false
		}
		g.truthAt = found[0]
		return strings.Contains(read(t, g.truthAt), "\n")
	})
	return g
}

// Rig and daemon share one clock: at ten times its speed every mishap raises the
// alarm that it raises at speed 1, as many of the rig's seconds after the danger
// (the table "What the alarms catch" in DEVELOPERS.md), and drops the permit.
func TestMishapsAtSpeed10(t *testing.T) {
	for _, m := range []struct {
		scenario, alarm string
		began           func(truth) bool
		at              time.Duration // of the scenario's move, where the truth does not show it
		after           time.Duration // as measured at speed 1
	}{
		{scenario: "relay-welded", alarm: "water-overheat", began: above75, after: 26600 * time.Millisecond},
		{scenario: "overheat", alarm: "water-overheat", began: above75, after: 26400 * time.Millisecond},
		{scenario: "dry-heating", alarm: "heating-without-supply", after: 4100 * time.Millisecond,
			began: func(h truth) bool { return h.is["supply_on"] == false && h.heating() }},
		{scenario: "frozen-sensor", alarm: "instrument-fault-level", at: 10 * time.Second, after: 19900 * time.Millisecond},
		{scenario: "head-loss", alarm: "head-lost", after: 2100 * time.Millisecond,
			began: func(h truth) bool { return h.number("level_meters") < 0.230 }},
		{scenario: "probe-out", alarm: "temperature-implausible", at: 10 * time.Second, after: 4600 * time.Millisecond},
		{scenario: "cable-pull", alarm: "instrument-fault-temperature", at: 10 * time.Second, after: 2 * time.Second},
		{scenario: "level-failed", alarm: "instrument-fault-level", at: 10 * time.Second, after: 2 * time.Second},
		{scenario: "open-sensor", alarm: "instrument-fault-temperature", at: 10 * time.Second, after: 2 * time.Second},
	} {
		t.Run(m.scenario, func(t *testing.T) {
			t.Parallel()
			g := quick(t, m.scenario, "10")
			g.until(90*time.Second, "the relay has been energised, and has dropped", func(h truth) bool { return !h.permitted() && !g.dropped().IsZero() })
			dropped := g.dropped()
			within(t, 5*time.Second, "the alarm is journalled", func() bool { return !g.raised(m.alarm).IsZero() })
			alarm, began := g.raised(m.alarm), g.started().Add(m.at)
			if m.began != nil {
				began = g.first(m.began).at
			}
			t.Logf("%s: %s %.1f s after, relay down %.1f s after", m.scenario, m.alarm, alarm.Sub(began).Seconds(), dropped.Sub(began).Seconds())
			if late := alarm.Sub(began); late < m.after-quickLate || late > m.after+quickLate {
				t.Errorf("%s came %v after the danger, want %v as at speed 1", m.alarm, late, m.after)
			}
			if late := dropped.Sub(alarm); late > 2*rigTick+quickLate {
				t.Errorf("the relay fell %v after the alarm", late)
			}
			if first := g.journal(`SELECT name FROM alarm_event ORDER BY sequence LIMIT 1`); first != m.alarm {
				t.Errorf("the first alarm is %s", first)
			}
			if m.scenario == "relay-welded" {
				m := mishap{name: m.scenario}
				m.ineffective(g, alarm)
			}
			g.atEnd()
		})
	}
}

// quickLate is how much of the rig's time an alarm of a fast demo may come
// earlier or later: the clock stands once work is 0.2 s overdue, and the
// readings of a slow instrument fall anywhere.
const quickLate = time.Second

// started is the wall time at which the rig's clock began: that of the first
// true state in which it runs.
func (g *guarded) started() time.Time {
	g.t.Helper()
	for i, h := range g.truths[1:] {
		if before := g.truths[i].at; h.at.Sub(before) < time.Second && h.at.After(before) && i > 0 {
			return before
		}
	}
	g.t.Fatal("the rig's clock did not begin")
	return time.Time{}
}

// atEnd: the demo ends as it should and leaves nothing among its temporary files.
func (g *guarded) atEnd() {
	g.t.Helper()
	if code := g.daemon.end(); code != 0 {
		g.t.Errorf("after SIGTERM it ended with %d, want 0", code)
	}
	if _, err := os.Stat(g.truthAt); err == nil {
		g.t.Errorf("%s is still there", g.truthAt)
	}
}

// saysThatItIsSlow: no line follows a thousand times the clock, and log and
// state say so, the log once.
func (g *guarded) saysThatItIsSlow() {
	g.t.Helper()
	const said = "the lines do not follow at speed 1000: rig and daemon run some "
	within(g.t, 15*time.Second, "the state warns that the lines do not follow", func() bool {
		return strings.Contains(fmt.Sprint(now(g.at)["warnings"]), said)
	})
	if n := strings.Count(g.daemon.err.String(), said); n != 1 {
		g.t.Errorf("the log says it %d times", n)
	}
}

// A machine that cannot keep a speed slows the clock down, and raises no alarm:
// ten minutes of the rig's in which nothing is wrong have none, the permit stays,
// and the wall time of the states is the rig's clock.
func TestNothingIsWrongAtSpeed(t *testing.T) {
	for _, c := range []struct{ scenario, speed string }{{"steady", "30"}, {"sweep", "30"}, {"steady", "1000"}} {
		t.Run(c.scenario+" at "+c.speed, func(t *testing.T) {
			t.Parallel()
			g := quick(t, c.scenario, c.speed)
			given := g.until(10*time.Second, "the permit is given", truth.permitted)
			g.until(2*time.Minute, "ten minutes of the rig's have passed", func(h truth) bool {
				if !h.permitted() && h.at.After(given.at) {
					t.Fatalf("the relay has dropped after %v", h.at.Sub(given.at))
				}
				return h.at.Sub(given.at) > 10*time.Minute
			})
			s := now(g.at)
			if s == nil || s["clock_synchronised"] != false {
				t.Fatalf("clock_synchronised is %v", s["clock_synchronised"])
			}
			at, err := time.Parse(time.RFC3339Nano, s["time"].(string))
			if late := g.now().at.Sub(at); err != nil || late < -time.Minute || late > time.Minute {
				t.Errorf("the state's time is %v off the rig's, %v", late, err)
			}
			if alarms := g.journal(`SELECT group_concat(name || ' ' || time) FROM alarm_event`); alarms != "" {
				t.Errorf("alarms: %s", alarms)
			}
			if c.speed == "1000" {
				g.saysThatItIsSlow()
			}
			g.atEnd()
		})
	}
}
