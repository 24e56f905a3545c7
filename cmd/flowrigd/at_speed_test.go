//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq/clock"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
	"flowrigd/daq/live"
	"flowrigd/daq/rigsim"
)

// fastAtOnce are the places of demos whose clock is fast: those work, where nearly all
// others wait, and more of them at a time would have two processors slow the clock.
var fastAtOnce = make(chan struct{}, map[bool]int{false: 4, true: 2}[raced])

// quick is a demo whose clock runs faster than the machine's; with an environment
// it is the one that can be broken on purpose. Its truth stands
// among its temporary files, its recording in the folder record.
func quick(t *testing.T, scenario, speed string, env ...string) *guarded {
	t.Helper()
	fastAtOnce <- struct{}{}
	t.Cleanup(func() { <-fastAtOnce })
	g := &guarded{t: t, dir: t.TempDir(), at: daqtest.FreeAddress(t)}
	path := program
	if len(env) > 0 {
		path = faulty
	}
	g.daemon = startWith(t, append(env, "TMPDIR="+g.dir), path, "demo", "--scenario", scenario, "--speed", speed,
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
	g.daemon.ends(exitDone)
	if _, err := os.Stat(g.truthAt); err == nil {
		g.t.Errorf("%s is still there", g.truthAt)
	}
}

// saysThatItIsSlow: no line follows a thousand times the clock, and state and
// log say so, the log once until the end.
func (g *guarded) saysThatItIsSlow() {
	g.t.Helper()
	const said = "the lines do not follow at speed 1000: rig and daemon run some "
	within(g.t, 15*time.Second, "the state warns that the lines do not follow", func() bool {
		return strings.Contains(fmt.Sprint(now(g.at)["warnings"]), said)
	})
	g.atEnd()
	if n := strings.Count(g.daemon.err.String(), said); n != 1 {
		g.t.Errorf("the log says it %d times", n)
	}
}

// A machine that cannot keep a speed slows the clock down, and raises no alarm:
// ten minutes of the rig's in which nothing is wrong have none, the permit stays,
// and the wall time of the states is the rig's clock. These are among the longest
// tests: as tests of their own, in a file of an early name, they begin first.
func TestNothingIsWrongInASteadyFlow(t *testing.T) { nothingIsWrong(t, "steady", "30").atEnd() }
func TestNothingIsWrongInASweep(t *testing.T)      { nothingIsWrong(t, "sweep", "30").atEnd() }
func TestNothingIsWrongOnSlowLines(t *testing.T) {
	g := nothingIsWrong(t, "steady", "1000")
	g.saysThatItIsSlow()
}

func nothingIsWrong(t *testing.T, scenario, speed string) *guarded {
	t.Helper()
	t.Parallel()
	g := quick(t, scenario, speed)
	given := g.until(10*time.Second, "the permit is given", truth.permitted)
	g.until(5*time.Minute, "ten minutes of the rig's have passed", func(h truth) bool {
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
	return g
}

// The simulated demonstrator of a fast clock that stands until an engine on a busy
// machine has answered: else there is no time left to ask again.
func TestTheDemonstratorIsWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rig := clock.NewFast(1000)
		judge, err := engine.New(daqtest.Config(t, daqtest.Rig("bench")), nil)
		must(t, err)
		loop := live.NewLoop(live.LoopOptions{Engine: judge, Clock: rig}) // which does not run
		rig.Start()
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- rigsim.GivePermit(ctx, rig, loop.Do) }()
		time.Sleep(time.Second)
		if at := rig.Now(); at > time.Second {
			t.Errorf("while he waits for an answer the clock goes to %v", at)
		}
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		rig.Now()
		time.Sleep(time.Second)
		if at := rig.Now(); at < 500*time.Second {
			t.Errorf("after him the clock is at %v", at)
		}
	})
}
