package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"flowrigd/daq/daqtest"
)

// costFor is how long one run of BenchmarkCost lasts, after costSettles.
var costFor = flag.Duration("cost.for", time.Minute, "how long each run of BenchmarkCost measures")

const costSettles = 5 * time.Second

// costBaud is the speed of both lines; a character has 11 bits on the bus, and the
// thermometer's line is paced like it.
const (
	costBaud      = 19200
	costCharacter = 11 * time.Second / costBaud
)

// BenchmarkCost prints what the daemon takes of the processor, and how often it is
// switched to, beside a script and a loop that poll, compute and publish the same
// and do nothing else, all in the same minute, each with simulated instruments of
// its own: three at 5 Hz, byte by byte at the pace of their lines. It takes a minute
// a run; -benchtime 5x makes five, and the medians count.
func BenchmarkCost(b *testing.B) {
	python := daqtest.Program(b, "python3", "python3")
	loop := filepath.Join(b.TempDir(), "loop")
	if out, err := exec.Command("go", "build", "-o", loop, "../../testdata/bare/loop").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	broker := daqtest.StartMosquitto(b, "")
	daemon := newCost(b, func(bus, tc string) []string {
		dir := b.TempDir()
		file := filepath.Join(dir, "bench.toml")
		text := fmt.Sprintf(benchText, bus, tc, mqttTable(broker.URL()), daqtest.FreeAddress(b), filepath.Join(dir, "record"))
		must(b, os.WriteFile(file, []byte(strings.ReplaceAll(text, "100 ms", "200 ms")), 0o600))
		return []string{program, "run", "--config", file}
	})
	script := newCost(b, func(bus, tc string) []string {
		return []string{python, "../../testdata/bare/script.py", bus, tc, broker.At}
	})
	bare := newCost(b, func(bus, tc string) []string { return []string{loop, bus, tc, broker.At} })
	all := []*cost{daemon, script, bare}
	time.Sleep(costSettles)
	for b.Loop() {
		for _, c := range all {
			c.begin()
		}
		time.Sleep(*costFor)
		for _, c := range all {
			c.end()
		}
		b.Logf("daemon %v, script %v, loop %v", daemon.last(), script.last(), bare.last())
	}
	ratio := func(other *cost) float64 {
		list := make([]float64, len(daemon.runs))
		for i := range list {
			list[i] = daemon.runs[i].processor / other.runs[i].processor
		}
		return median(list)
	}
	b.ReportMetric(100*daemon.median(func(s spent) float64 { return s.processor }), "%core")
	b.ReportMetric(daemon.median(func(s spent) float64 { return s.switches }), "switches/s")
	b.ReportMetric(daemon.median(func(s spent) float64 { return s.megabytes }), "MB")
	b.ReportMetric(ratio(script), "of-script")
	b.ReportMetric(ratio(bare), "of-loop")
}

// cost is a program whose use of the machine is measured.
type cost struct {
	b    *testing.B
	cmd  *exec.Cmd
	at   time.Time
	was  spent // since its start
	runs []spent
}

// spent is what a program took: a share of one core, switches to it in a second,
// and the memory that it has at the end.
type spent struct{ processor, switches, megabytes float64 }

func (s spent) String() string {
	return fmt.Sprintf("%.2f %% %.0f/s %.1f MB", 100*s.processor, s.switches, s.megabytes)
}

// newCost starts a program on lines of its own.
func newCost(b *testing.B, command func(bus, tc string) []string) *cost {
	bench := &handBench{flow: 1.2, level: 260, celsius: 42}
	args := command(pacedLine(b, bench.answerBus), pacedLine(b, bench.answerText))
	c := &cost{b: b, cmd: exec.Command(args[0], args[1:]...)}
	errors := &lines{}
	c.cmd.Stderr = errors
	must(b, c.cmd.Start())
	b.Cleanup(func() {
		_ = c.cmd.Process.Kill()
		_ = c.cmd.Wait()
		if b.Failed() {
			b.Logf("%s said:\n%s", filepath.Base(args[0]), errors)
		}
	})
	return c
}

// pacedLine is a line whose far end hears a request and gives its answer byte by
// byte, each when the line would have brought it.
func pacedLine(b *testing.B, answer func(heard []byte) (answer, rest []byte)) string {
	master, near, err := pty.Open()
	must(b, err)
	far := pollable(b, master)
	quietTerminal(b, near)
	b.Cleanup(func() { far.Close(); near.Close() })
	go func() {
		var heard []byte
		buf := make([]byte, 256)
		for {
			n, err := far.Read(buf)
			if err != nil {
				return
			}
			began := time.Now()
			said, rest := answer(append(heard, buf[:n]...))
			heard = bytes.Clone(rest)
			for i := range said { // behind the request, and the silence of 3.5 characters
				time.Sleep(time.Until(began.Add(time.Duration(n+5+i) * costCharacter)))
				if _, err := far.Write(said[i : i+1]); err != nil {
					return
				}
			}
		}
	}()
	return near.Name()
}

func (c *cost) begin() { c.at, c.was = time.Now(), c.sinceStart() }

func (c *cost) end() {
	now, seconds := c.sinceStart(), time.Since(c.at).Seconds()
	c.runs = append(c.runs, spent{(now.processor - c.was.processor) / seconds, (now.switches - c.was.switches) / seconds, now.megabytes})
}

func (c *cost) last() spent { return c.runs[len(c.runs)-1] }

func (c *cost) median(of func(spent) float64) float64 {
	list := make([]float64, len(c.runs))
	for i, s := range c.runs {
		list[i] = of(s)
	}
	return median(list)
}

func median(list []float64) float64 {
	list = slices.Sorted(slices.Values(list))
	return list[len(list)/2]
}

var (
	switchesLine = regexp.MustCompile(`(?m)ctxt_switches:\s+(\d+)$`)
	residentLine = regexp.MustCompile(`(?m)^VmRSS:\s+(\d+) kB$`)
)

// sinceStart adds up what the kernel counts of each thread (proc(5)): the time on a
// processor in ns, in schedstat, and the switches.
func (c *cost) sinceStart() (s spent) {
	c.b.Helper()
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*", c.cmd.Process.Pid))
	must(c.b, err)
	if len(tasks) == 0 {
		c.b.Fatalf("%s has ended", filepath.Base(c.cmd.Path))
	}
	for _, task := range tasks {
		stat, err := os.ReadFile(filepath.Join(task, "schedstat"))
		must(c.b, err)
		ns, err := strconv.ParseFloat(strings.Fields(string(stat))[0], 64)
		must(c.b, err)
		status, err := os.ReadFile(filepath.Join(task, "status"))
		must(c.b, err)
		s.processor += ns / 1e9
		for _, m := range switchesLine.FindAllSubmatch(status, -1) {
			n, _ := strconv.ParseFloat(string(m[1]), 64)
			s.switches += n
		}
		if m := residentLine.FindSubmatch(status); m != nil {
			kB, _ := strconv.ParseFloat(string(m[1]), 64)
			s.megabytes = kB / 1024
		}
	}
	return s
}
