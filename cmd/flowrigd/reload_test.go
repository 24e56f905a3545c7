//go:build unix

package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// tempered is a third instrument on the bus, at the flow meter's address but
// another register, which comes, changes and goes.
const tempered = `
[instruments.pressure_drop]
port = "bus"
every = "100 ms"
modbus = {address = 2, table = "holding", register = 40, type = "uint16"}
unit = %q
stale_after = "1 s"
`

// TestReloadLosesNoReading sends SIGHUP ten times while another instrument of
// the same line comes, changes and goes. Whatever the flow meter answered is a
// reading, a good one, and stands in the recording; the line is never opened
// anew. Then a wrong file is refused, logged and counted, and the old one stays. It
// runs alone: an answer that a busy machine makes late is no good reading.
func TestReloadLosesNoReading(t *testing.T) {
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	var answered atomic.Int64
	b.set(func(b *handBench) {
		b.spoil = func(request, answer []byte) []byte {
			if request[0] == 1 {
				answered.Add(1)
			}
			return answer
		}
	})
	file := b.config(at, "")
	d := running(t, file, at)
	taken := func() float64 { return metric(at, "flowrig_config_reloads_total") }
	for n := range 10 {
		b.config(at, []string{fmt.Sprintf(tempered, "Pa"), fmt.Sprintf(tempered, "kPa"), ""}[n%3])
		d.signal(syscall.SIGHUP)
		within(t, 5*time.Second, "the reload is taken", func() bool { return taken() == float64(n+1) })
		within(t, 5*time.Second, "the other instrument comes or goes", func() bool { return (n%3 != 2) == (qualityOf(at, "pressure_drop") != "") })
		since := answered.Load()
		within(t, 5*time.Second, "four more answers", func() bool { return answered.Load() >= since+4 })
		if q := qualityOf(at, "flow"); q != "good" {
			t.Errorf("reload %d: the flow is %s", n+1, q)
		}
	}
	refuses(t, b, d, at, file)
	d.ends(exitDone)
	if text := d.err.String(); strings.Contains(text, "line lost") || strings.Contains(text, "no line") {
		t.Errorf("the line was opened anew:\n%s", text)
	}
	kept := sqlRows(t, b.dir, `SELECT count(*), sum(json_extract(body, '$.reason') IS NULL) FROM input WHERE kind = 'reading' AND json_extract(body, '$.of') = 'flow'`)
	if notes := sqlRows(t, b.dir, `SELECT count(*), sum(text LIKE 'refused; %') FROM note WHERE kind = 'reload'`); notes != "11|1" {
		t.Errorf("reloads in the journal (all, refused): %s", notes)
	}
	// The last answer may have come while the daemon closed the line.
	n := answered.Load()
	if kept != fmt.Sprintf("%d|%d", n, n) && kept != fmt.Sprintf("%d|%d", n-1, n-1) {
		t.Errorf("%d answers, and readings of the recording (all, good): %s", n, kept)
	}
	slots := sqlRows(t, b.dir, `SELECT cast(round((max(json_extract(body, '$.at')) - min(json_extract(body, '$.at'))) / 1e8) AS INTEGER) + 1 FROM input WHERE kind = 'reading' AND json_extract(body, '$.of') = 'flow'`)
	t.Logf("%d answers of the flow meter in %s due times, in the recording %s", n, slots, kept)
	// A loaded machine may miss a due time, a reload may not miss one each.
	if due, err := strconv.Atoi(slots); err != nil || due < 40 || int64(due)-n > 8 {
		t.Errorf("%d answers in %s due times (%v)", n, slots, err)
	}
}

// refuses reloads a wrong file: nothing changes but the log and the counter.
func refuses(t *testing.T, b *handBench, d *process, at, file string) {
	t.Helper()
	before := metric(at, "flowrig_config_reloads_total")
	right := read(t, file)
	write(t, file, strings.Replace(right, `unit = "L/min"`, `unit = "mm"`, 1))
	d.signal(syscall.SIGHUP)
	within(t, 5*time.Second, "the refusal is counted", func() bool { return metric(at, "flowrig_config_refused_total") == 1 })
	for _, part := range []string{"reload refused; the old configuration stays", "unit", "mm"} {
		within(t, 5*time.Second, "the log says "+part, func() bool { return strings.Contains(d.err.String(), part) })
	}
	if metric(at, "flowrig_config_reloads_total") != before {
		t.Error("the wrong file counts as taken")
	}
	b.set(func(b *handBench) { b.flow = 2.4 })
	within(t, 5*time.Second, "the old configuration measures on", func() bool {
		s := now(at)
		return allGood(s) && math.Abs(number(s, "flow_cubic_meters_per_second")-4e-5) < 1e-9
	})
	write(t, file, right)
}

// TestTwoDaemonsOnOneLine starts a second daemon on a line that the first one
// has: it says so with the remedy and stays up; the first loses nothing. When
// the first is killed, the second takes the line by itself.
func TestTwoDaemonsOnOneLine(t *testing.T) {
	t.Parallel()
	b := newHandBench(t)
	at, second := daqtest.FreeAddress(t), daqtest.FreeAddress(t)
	file := b.config(at, "")
	// A time-out that a busy machine does not reach; an answer that the second
	// daemon made the first lose is a fault all the same.
	write(t, file, strings.ReplaceAll(read(t, file), `timeout = "250 ms"`, `timeout = "1 s"`))
	first := running(t, file, at)
	other := &handBench{t: t, dir: t.TempDir(), bus: b.bus, tc: b.tc}
	d := start(t, program, "run", "--config", other.config(second, ""))
	const remedy = "another program has the line; stop that program, or give each its own line"
	within(t, 10*time.Second, "the second says that both lines are busy", func() bool {
		return strings.Contains(qualityOf(second, "flow"), remedy) && strings.Contains(qualityOf(second, "temperature"), remedy)
	})
	d.logs("bus: " + b.bus.name + ": open: " + remedy)
	if text, _, code := call(t, program, "probe", "--config", b.dir+"/bench.toml", "--json", "flow"); code != exitFailed || text != "" {
		t.Errorf("probe beside a daemon ends with %d: %s", code, text)
	}
	faults := metric(at, `flowrig_instrument_errors_total{instrument="flow",reason="port"}`) + metric(at, `flowrig_instrument_errors_total{instrument="flow",reason="timeout"}`)
	if !allGood(now(at)) || faults != 0 {
		t.Errorf("the first has %v, %v faults", now(at)["quality"], faults)
	}
	first.signal(syscall.SIGKILL)
	<-first.done
	within(t, recoverWithin, "the second has the line", func() bool { return allGood(now(second)) })
	d.ends(exitDone)
}
