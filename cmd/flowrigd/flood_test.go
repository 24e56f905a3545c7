//go:build linux

package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// airTable is an instrument that sends unprompted, beside those of the bench.
const airTable = `
[ports.air]
device = %q
baud = 115200
framing = "8N1"
timeout = "100 ms"
[instruments.ambient]
port = "air"
every = "100 ms"
stream = {line = "A={value}", end = "\n"}
unit = "Cel"
stale_after = "1 s"
`

// TestFloodOfNoise lets all three conversations be shouted down without a pause,
// faster than their lines could carry it: every reading is bad with a reason,
// the daemon answers, does not grow, and measures again once it is quiet.
func TestFloodOfNoise(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	air := newHandLine(t, filepath.Join(b.dir, "air"), func(heard []byte) ([]byte, []byte) { return nil, nil })
	quietly := talk(t, air, func() []byte { return []byte("A=20.5\n") })
	d := running(t, b.config(at, fmt.Sprintf(airTable, air.name)), at)
	quietly()
	honest := now(at)
	before := resident(t, d)
	var silence []func()
	for i, l := range []*handLine{b.bus, b.tc, air} {
		silence = append(silence, flood(t, l, uint64(i)))
	}
	names := []string{"flow", "level", "temperature", "ambient"}
	within(t, 20*time.Second, "all bad", func() bool { // on a busy machine answers pass between two shouts, and hold one up
		for _, name := range names {
			if !strings.HasPrefix(qualityOf(at, name), "bad: ") {
				return false
			}
		}
		return true
	})
	seen := 0
	var last any
	within(t, 30*time.Second, "forty states", func() bool {
		s := now(at)
		if s == nil {
			t.Fatal("it does not answer under noise")
		}
		if s["time"] == last {
			return false
		}
		last, seen = s["time"], seen+1
		for _, name := range []string{"flow_cubic_meters_per_second", "level_meters", "temperature_celsius", "ambient_celsius", "reynolds_number"} {
			// The instruments answer on below the noise: on a loaded machine a
			// whole answer may come between two shouts, and then it is right.
			if s[name] != nil && s[name] != honest[name] {
				t.Fatalf("%s is %v out of noise, %v before it", name, s[name], honest[name])
			}
		}
		return seen == 40
	})
	for _, name := range names {
		t.Logf("%s: %s", name, qualityOf(at, name))
	}
	if after := resident(t, d); after > before+16<<10 {
		t.Errorf("it grew from %d kB to %d kB", before, after)
	}
	for _, stop := range silence {
		stop()
	}
	talk(t, air, func() []byte { return []byte("A=20.5\n") })
	// It takes 0.1 s; while other packages' tests have the processors, answers are late for seconds.
	within(t, 20*time.Second, "all good again", func() bool { return allGood(now(at)) })
	d.ends(exitDone)
}

// flood shouts random bytes down a line until it is stopped.
func flood(t *testing.T, l *handLine, seed uint64) (stop func()) {
	random := rand.New(rand.NewPCG(seed, 4))
	noise := make([]byte, 64)
	return every(t, l, 2*time.Millisecond, func() []byte {
		for i := range noise {
			noise[i] = byte(random.Uint32())
		}
		return noise
	})
}

// resident is the memory of a process in kB.
func resident(t *testing.T, d *process) int {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", d.cmd.Process.Pid))
	must(t, err)
	_, line, _ := strings.Cut(string(text), "VmRSS:")
	n, err := strconv.Atoi(strings.Fields(line)[0])
	must(t, err)
	return n
}
