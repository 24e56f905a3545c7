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

// TestHangupWhileStarting sends SIGHUP while the configuration is being read for
// the first time: it ends nothing, and is a reload once the daemon works.
func TestHangupWhileStarting(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	text := read(t, b.config(at, ""))
	file := filepath.Join(b.dir, "pipe.toml") // a pipe: reading it waits for the test
	must(t, syscall.Mkfifo(file, 0o600))
	d := start(t, program, "run", "--config", file)
	feed := func(before func()) {
		t.Helper()
		var f *os.File
		within(t, 20*time.Second, "the configuration is being read", func() (opened bool) {
			var err error
			f, err = os.OpenFile(file, os.O_WRONLY|syscall.O_NONBLOCK, 0)
			return err == nil
		})
		before()
		if _, err := f.WriteString(text); err != nil {
			t.Fatal(err)
		}
		f.Close()
	}
	feed(func() { d.signal(syscall.SIGHUP) })
	within(t, 20*time.Second, "the configuration is read", func() bool { return strings.Contains(d.err.String(), "running") })
	feed(func() {})
	within(t, 10*time.Second, "the reload is taken", func() bool { return metric(at, "flowrig_config_reloads_total") == 1 })
	d.ends(exitDone)
}

// TestHangupIsCaughtFirst: the packages that take long begin after the one that
// catches the signal.
func TestHangupIsCaughtFirst(t *testing.T) {
	t.Parallel()
	d := startWith(t, []string{"GODEBUG=inittrace=1"}, program, "run", "--config", filepath.Join(t.TempDir(), "none.toml"))
	d.code(20 * time.Second)
	_, rest, caught := strings.Cut(d.err.String(), "init flowrigd/cmd/flowrigd/hangup ")
	for _, slow := range []string{"encoding/json", "modernc.org/libc", "github.com/prometheus/client_golang/prometheus"} {
		if !caught || !strings.Contains(rest, "init "+slow+" ") {
			t.Errorf("%s begins before the signal is caught:\n%s", slow, d.err)
		}
	}
}
