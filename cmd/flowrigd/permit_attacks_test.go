//go:build unix

package main

import (
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"
)

// When the daemon dies, is suspended or its engine hangs, nobody refreshes the
// permit, and the relay falls by itself within its watchdog. When the daemon
// comes back, the permit does not.
func TestThePermitGoesWithTheDaemon(t *testing.T) {
	t.Parallel()
	hang := func(t *testing.T) (file string, env []string) {
		file = filepath.Join(t.TempDir(), "hang")
		return file, []string{"FLOWRIGD_HANG=" + file}
	}
	t.Run("killed", func(t *testing.T) {
		t.Parallel()
		g := newGuarded(t, setUp{scenario: "level-failed"})
		g.falls(func() { g.daemon.signal(syscall.SIGKILL) }, relayHolds)
		g.daemon.code(10 * time.Second)
		g.daemon = start(t, program, "run", "--config", g.config)
		within(t, 10*time.Second, "the next daemon works", func() bool { return now(g.at) != nil })
		g.staysDown()
	})
	t.Run("suspended", func(t *testing.T) {
		t.Parallel()
		g := newGuarded(t, setUp{scenario: "overheat"})
		stopped := time.Now()
		g.falls(func() { g.daemon.signal(syscall.SIGSTOP) }, relayHolds)
		g.until(2*relayHolds, "longer than the watchdog", func(h truth) bool { return h.at.After(stopped.Add(relayHolds + 2*rigTick)) })
		g.daemon.signal(syscall.SIGCONT)
		g.staysDown()
		if got, want := g.journal(`SELECT text FROM note WHERE text LIKE '%stood still%'`), "heating permit dropped: the program stood still for "; len(got) < len(want) || got[:len(want)] != want {
			t.Errorf("the journal says %q, want %q…", got, want)
		}
		// What came of the standstill: its readings were stale, and that trips.
		// Of the two that trip, one whose answer waited in its line may have been good again at once.
		names := standingIn(now(g.at))
		for _, alarm := range []string{"instrument-fault-temperature", "instrument-fault-level"} {
			if slices.Contains(names, alarm) {
				g.alarm(alarm, "acknowledge")
				g.alarm(alarm, "reset")
			}
		}
		if status, answer := g.permit("give"); status != 200 {
			t.Errorf("no trip stands any more, and a person does not get the permit: %d %s", status, answer)
		}
	})
	t.Run("hung engine", func(t *testing.T) {
		t.Parallel()
		file, env := hang(t)
		g := newGuarded(t, setUp{scenario: "overheat", program: faulty, env: env})
		g.falls(func() { write(t, file, "") }, relayHolds)
		g.staysDown()
	})
	t.Run("asked to stop", func(t *testing.T) {
		t.Parallel()
		g := newGuarded(t, setUp{scenario: "overheat"})
		g.falls(func() { g.daemon.signal(syscall.SIGTERM) }, 2*rigTick)
		if code := g.daemon.code(20 * time.Second); code != 0 {
			t.Errorf("it ended with %d", code)
		}
	})
}

// falls does something to the daemon and waits for the relay.
func (g *guarded) falls(attack func(), limit time.Duration) {
	g.t.Helper()
	if !g.now().permitted() {
		g.t.Fatal("the relay is down before anything has happened")
	}
	began := time.Now()
	attack()
	at := g.until(limit+5*time.Second, "the relay is down", func(h truth) bool { return !h.permitted() && h.at.After(began) }).at
	g.t.Logf("the relay was down %v after it", at.Sub(began).Round(10*time.Millisecond))
	if late := at.Sub(began); late > limit+truthLate {
		g.t.Errorf("the relay fell after %v, want %v", late, limit)
	}
}

// staysDown: nobody but a person energises the relay again.
func (g *guarded) staysDown() {
	g.t.Helper()
	end := time.Now().Add(relayHolds)
	g.until(2*relayHolds, "some time", func(h truth) bool {
		if h.permitted() {
			g.t.Error("the relay is energised again without a person")
		}
		return h.at.After(end)
	})
}

// A disk that hangs holds up neither the alarm nor the permit's fall, and the
// journal has both when it is well again.
func TestThePermitFallsWithoutTheDisk(t *testing.T) {
	t.Parallel()
	for _, variable := range []string{"FLOWRIGD_DISK_HANG", "FLOWRIGD_DISK_FULL"} {
		t.Run(variable, func(t *testing.T) {
			t.Parallel()
			fault := filepath.Join(t.TempDir(), "fault")
			g := newGuarded(t, setUp{scenario: "level-failed", program: faulty, env: []string{variable + "=" + fault}})
			write(t, fault, "")
			fell := g.until(30*time.Second, "the relay is down", func(h truth) bool { return !h.permitted() })
			if late := fell.at.Sub(g.truths[0].at.Add(10 * time.Second)); late > 2*time.Second+2*rigTick+truthLate+500*time.Millisecond {
				t.Errorf("the relay fell %v after the sensor, want its 2 s until stale, two intervals and a reading's time", late)
			}
			if at := g.raised("instrument-fault-level"); !at.IsZero() {
				t.Errorf("the journal has an alarm of %v, though the disk did not answer", at)
			}
			must(t, os.Remove(fault))
			within(t, 10*time.Second, "the alarm is journalled", func() bool { return !g.raised("instrument-fault-level").IsZero() })
			if late := fell.at.Sub(g.raised("instrument-fault-level")); late > 2*rigTick+truthLate {
				t.Errorf("the relay fell %v after the alarm", late)
			}
			if got := g.journal(`SELECT text FROM note WHERE kind = 'permit' ORDER BY sequence DESC`); got != "heating permit dropped: alarm instrument-fault-level" {
				t.Errorf("the journal says %q", got)
			}
		})
	}
}
