//go:build linux

package main

import (
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestHundredCablePulls pulls the cables of a running daemon a hundred times,
// bus and thermometer in turn. Each time the new reading is good within two
// seconds of the return; afterwards the daemon holds as many descriptors and
// goroutines as before.
func TestHundredCablePulls(t *testing.T) {
	t.Parallel()
	pulls := 100
	if testing.Short() {
		pulls = 10
	}
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	d := running(t, b.config(at, ""), at)
	for n := range 6 { // what is made once, such as the log's memory, is there after these
		b.pullAndReturn(at, n)
	}
	before := atRest(t, d, at)
	var slowest time.Duration
	for n := range pulls {
		slowest = max(slowest, b.pullAndReturn(at, n+6))
	}
	t.Logf("%d pulls, the slowest recovery took %v", pulls, slowest.Round(time.Millisecond))
	after := holdings(t, d, at)
	for deadline := time.Now().Add(10 * time.Second); after.above(before) && time.Now().Before(deadline); after = holdings(t, d, at) {
		time.Sleep(100 * time.Millisecond) // what served the last request may still be ending
	}
	t.Logf("before %+v, after %+v", before, after)
	if after.above(before) {
		t.Errorf("after %d pulls it holds %+v, before them %+v", pulls, after, before)
	}
	d.ends(exitDone)
}

// pullAndReturn pulls one cable, waits until the daemon knows, puts it back
// with another value at the far end and says how long that took to show.
func (b *handBench) pullAndReturn(at string, n int) time.Duration {
	b.t.Helper()
	line, name, value := b.bus, "level", func(s map[string]any) any { return s["level_meters"] }
	want := float64(255+n%10) / 1000
	if n%2 == 1 {
		line, name, value = b.tc, "temperature", func(s map[string]any) any { return s["temperature_celsius"] }
		want = float64(40 + n%10)
	}
	line.pull()
	within(b.t, 2*time.Second, fmt.Sprintf("pull %d of %s is noticed", n, name), func() bool { return qualityOf(at, name) != "good" })
	b.set(func(b *handBench) {
		if n%2 == 1 {
			b.celsius = want
		} else {
			b.level = want * 1000
		}
	})
	line.plug()
	back := time.Now()
	good := func() bool {
		s := now(at)
		got, _ := value(s).(float64)
		return s != nil && allGood(s) && got > want-1e-4 && got < want+1e-4
	}
	for !good() {
		if time.Since(back) > recoverWithin {
			s := now(at)
			b.t.Fatalf("pull %d: %s is not good again within %v: %v, want %v, %v", n, name, recoverWithin, value(s), want, s["quality"])
		}
		time.Sleep(10 * time.Millisecond)
	}
	return time.Since(back)
}

// holding is what a process could leak.
type holding struct{ files, goroutines int }

// above says whether more is held.
func (h holding) above(other holding) bool {
	return h.files > other.files || h.goroutines > other.goroutines
}

func holdings(t *testing.T, d *process, at string) holding {
	t.Helper()
	entries, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", d.cmd.Process.Pid))
	must(t, err)
	_, metrics := get("http://" + at + "/metrics")
	found := regexp.MustCompile(`(?m)^go_goroutines (\d+)$`).FindStringSubmatch(metrics)
	if found == nil {
		t.Fatalf("no go_goroutines in the metrics:\n%s", strings.SplitAfterN(metrics, "\n", 20))
	}
	n, err := strconv.Atoi(found[1])
	must(t, err)
	return holding{files: len(entries), goroutines: n}
}

// atRest is the most that the process holds over twenty states: a single count
// may fall between two of its goroutines' lives and be too low to compare with.
func atRest(t *testing.T, d *process, at string) (most holding) {
	t.Helper()
	var last any
	seen := 0
	within(t, 20*time.Second, "twenty states", func() bool {
		h := holdings(t, d, at)
		most = holding{max(most.files, h.files), max(most.goroutines, h.goroutines)}
		if s := now(at); s != nil && s["time"] != last {
			last, seen = s["time"], seen+1
		}
		return seen == 20
	})
	return most
}
