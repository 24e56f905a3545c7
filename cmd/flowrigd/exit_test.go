//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestListeningOpenlyNeedsTokens: without tokens a daemon that other machines
// could reach ends with 1 and says how to make one; with a token it works.
func TestListeningOpenlyNeedsTokens(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	file := b.config("0.0.0.0:"+at[strings.LastIndexByte(at, ':')+1:], "")
	d := start(t, program, "run", "--config", file)
	if code := d.code(20 * time.Second); code != exitFailed {
		t.Errorf("it ended with %d, want %d", code, exitFailed)
	}
	says(t, "the error", d.err.String(), "reachable from other machines, but there is no access token", "flowrigd token add --config "+file)
	addToken(t, file, "watch", "visitor")
	d = start(t, program, "run", "--config", file)
	within(t, 10*time.Second, "it asks for the token", func() bool { status, _ := get("http://" + at + "/api/now"); return status == 401 })
	d.ends(exitDone)
}

// TestWhatIsNotOnDiskIsAFailure asks a daemon to stop while its disk is full, and
// one that never had a directory: the end is a failure and says what is missing.
func TestWhatIsNotOnDiskIsAFailure(t *testing.T) {
	t.Parallel()
	t.Run("a full disk", func(t *testing.T) {
		t.Parallel()
		b, at := newHandBench(t), daqtest.FreeAddress(t)
		fault := filepath.Join(b.dir, "fault")
		d := startWith(t, []string{"FLOWRIGD_DISK_FULL=" + fault}, faulty, "run", "--config", b.config(at, ""))
		within(t, 10*time.Second, "a row", func() bool { return number(now(at), "sequence") >= 1 })
		write(t, fault, "")
		within(t, 10*time.Second, "the disk is full", func() bool { return strings.Contains(d.err.String(), "no space left") })
		d.ends(exitFailed)
		says(t, "the error", d.err.String(), "steps are not on disk")
	})
	t.Run("no directory", func(t *testing.T) {
		t.Parallel()
		b, at := newHandBench(t), daqtest.FreeAddress(t)
		record := write(t, filepath.Join(b.dir, "in the way"), "")
		d := running(t, b.configAt(b.bus.name, at, record, ""), at)
		d.ends(exitFailed)
		says(t, "the error", d.err.String(), "flowrigd: recording", "are not recorded", "this is a file")
	})
}

// TestCheckOpensNothing watches the system calls of check: of what the file
// names it opens no line, makes no directory and calls nobody.
func TestCheckOpensNothing(t *testing.T) {
	t.Parallel()
	strace := daqtest.Program(t, "strace", "strace")
	b := newRelayBench(t)
	file := b.config(daqtest.FreeAddress(t), relayTables+mqttTable("tcp://"+daqtest.FreeAddress(t)))
	log := filepath.Join(b.dir, "calls")
	_, diag, code := call(t, strace, "-f", "-o", log, "-e", "trace=file,socket,connect,bind", program, "check", "--config", file)
	if code != exitDone {
		t.Fatalf("check ended with %d: %s", code, diag)
	}
	opened := 0
	for _, line := range strings.Split(read(t, log), "\n") {
		if strings.Contains(line, "execve(") {
			continue
		}
		if strings.Contains(line, file) {
			opened++
			continue
		}
		for _, sign := range []string{b.dir, "socket(", "connect(", "bind("} {
			if strings.Contains(line, sign) {
				t.Errorf("check calls %s", line)
			}
		}
	}
	if opened == 0 {
		t.Error("the trace does not even show the configuration")
	}
	if _, err := os.Stat(filepath.Join(b.dir, "record")); err == nil {
		t.Error("check has made the directory of the recording")
	}
}

// TestReloadTakesUpRecordAndPage changes [record], an alarm's limit and the
// band: each is in force after the reload, and its text in the recording.
func TestReloadTakesUpRecordAndPage(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	const alarm = "[alarms.water-overheat]\nabove = \"%s\"\n\n[regime]\nlaminar_below = %s\n"
	tables := func(above, below string) string {
		return strings.Replace(strings.Replace("\n"+alarm, "%s", above, 1), "%s", below, 1)
	}
	slow := "durable_within = \"60 s\"\n"
	file := b.config(at, tables("75 Cel", "2000"))
	write(t, file, read(t, file)+slow)
	d := running(t, file, at)
	b.config(at, tables("71 Cel", "2100"))
	write(t, file, read(t, file)+"durable_within = \"200 ms\"\n")
	d.signal(syscall.SIGHUP)
	within(t, 10*time.Second, "the reload is taken", func() bool { return metric(at, "flowrig_config_reloads_total") == 1 })
	newest := func() float64 { return number(now(at), "sequence") }
	within(t, 10*time.Second, "the note of the reload takes the rows to disk", func() bool { return newest() >= 1 })
	for range 3 { // and after that durable_within alone does
		before := newest()
		within(t, 10*time.Second, "rows go to disk at once", func() bool { return newest() > before })
	}
	_, alarms := get("http://" + at + "/api/alarms?configured")
	_, page := get("http://" + at + "/")
	says(t, "the page", page, "2100")
	if !strings.Contains(alarms, `"above":71`) {
		t.Errorf("/api/alarms has not the new limit: %s", alarms)
	}
	text := sqlRows(t, b.dir, `SELECT c.text FROM configuration c JOIN sample s ON s.configuration = c.sha256 ORDER BY s.sequence DESC LIMIT 1`)
	if !strings.Contains(text, "71 Cel") || !strings.Contains(text, "200 ms") {
		t.Errorf("the newest row's configuration has the text %q", text)
	}
}

// TestARefusedReloadKeepsTheInstruments reloads while the engine hangs and takes
// nothing: the reload is refused, and the lines are polled as before it.
func TestARefusedReloadKeepsTheInstruments(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	asked := make(chan byte, 1000)
	b.set(func(b *handBench) {
		b.spoil = func(request, answer []byte) []byte {
			if request[0] == 1 {
				select {
				case asked <- request[3]:
				default:
				}
			}
			return answer
		}
	})
	hang := filepath.Join(b.dir, "hang")
	file := write(t, b.config(at, ""), strings.ReplaceAll(read(t, b.config(at, "")), `every = "100 ms"`, `every = "20 ms"`))
	d := startWith(t, []string{"FLOWRIGD_HANG=" + hang}, faulty, "run", "--config", file)
	within(t, 10*time.Second, "a good state", func() bool { return allGood(now(at)) })
	write(t, hang, "")
	within(t, 60*time.Second, "the engine's queue is full", func() bool { return metric(at, `flowrig_queue_dropped_total{queue="engine"}`) > 0 })
	write(t, file, strings.Replace(read(t, file), "register = 0", "register = 2", 1))
	d.signal(syscall.SIGHUP)
	within(t, 10*time.Second, "the reload is refused", func() bool { return metric(at, "flowrig_config_refused_total") == 1 })
	for len(asked) > 0 {
		<-asked
	}
	for range 5 {
		select {
		case register := <-asked:
			if register != 0 {
				t.Fatalf("register %d is asked for, which the refused file names", register)
			}
		case <-time.After(10 * time.Second):
			t.Fatal("the flow meter is not asked any more")
		}
	}
}
