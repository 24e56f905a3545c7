//go:build linux

package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestThePermitFileIsSynced watches the daemon's system calls while it writes
// the permit file: the new text is synced, then renamed, then the name is synced.
func TestThePermitFileIsSynced(t *testing.T) {
	t.Parallel()
	strace := daqtest.Program(t, "strace", "strace")
	b := newHoldBench(t)
	log, pid := filepath.Join(b.dir, "calls"), filepath.Join(b.dir, "pid")
	d := start(t, strace, "-f", "-y", "-o", log, "-e", "trace=fsync,rename,renameat,renameat2",
		"sh", "-c", `echo $$ > "$0"; exec "$@"`, pid, program, "run", "--config", b.file)
	within(t, 20*time.Second, "the permit file", func() bool { _, err := os.Stat(b.permitFile()); return err == nil })
	n, err := strconv.Atoi(strings.TrimSpace(read(t, pid)))
	must(t, err)
	must(t, syscall.Kill(n, syscall.SIGTERM))
	d.code(20 * time.Second)
	calls, at := strings.Split(read(t, log), "\n"), 0
	for _, want := range []string{
		`fsync\(\d+<` + regexp.QuoteMeta(b.permitFile()+".part") + `>`,
		`rename.*` + regexp.QuoteMeta(b.permitFile()+".part") + `.*` + regexp.QuoteMeta(b.permitFile()) + `"`,
		`fsync\(\d+<` + regexp.QuoteMeta(b.dir) + `>`,
	} {
		call := regexp.MustCompile(want)
		found := indexAfter(calls, at, call.MatchString)
		if found < 0 {
			t.Fatalf("no %s behind call %d in\n%s", want, at, strings.Join(calls, "\n"))
		}
		at = found + 1
	}
}
