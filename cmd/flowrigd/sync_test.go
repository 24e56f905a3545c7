//go:build linux

package main

import (
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestAlarmIsSyncedBeforeItIsTold watches the daemon's system calls from
// outside: the row of each alarm is written to the database's log, the log is
// synced, and only then do the alarm's bytes go to the broker's socket.
func TestAlarmIsSyncedBeforeItIsTold(t *testing.T) {
	t.Parallel()
	calls := traced(t)
	told := toldAlarms(calls)
	if len(told) < 5 {
		t.Fatalf("only %d alarms were told:\n%s", len(told), strings.Join(calls, "\n"))
	}
	for _, a := range told {
		written := indexAfter(calls, 0, func(call string) bool {
			return walWrite.MatchString(call) && strings.Contains(call, a.stamp)
		})
		if written < 0 || written > a.call {
			t.Errorf("alarm %d of %s: told in call %d, written in call %d (-1: never)", a.sequence, a.stamp, a.call, written)
			continue
		}
		if synced := syncedAfter(calls, written); synced < 0 || synced > a.call {
			t.Errorf("alarm %d of %s: written in call %d, told in call %d, synced in call %d (-1: never)",
				a.sequence, a.stamp, written, a.call, synced)
		}
	}
	t.Logf("%d alarms in %d calls", len(told), len(calls))
}

// traced runs a daemon with a flapping alarm under strace, to its orderly end,
// and gives its calls in order.
func traced(t *testing.T) []string {
	t.Helper()
	strace := daqtest.Program(t, "strace", "strace")
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	config := b.config(at, flappingAlarm(t, b.dir, "250 ms")+mqttTable(w.url))
	log, pid := filepath.Join(b.dir, "calls"), filepath.Join(b.dir, "pid")
	d := start(t, strace, "-f", "-y", "-s", "9000", "-o", log, "-e", "trace=write,writev,pwrite64,sendto,sendmsg,fsync,fdatasync",
		"sh", "-c", `echo $$ > "$0"; exec "$@"`, pid, program, "run", "--config", config)
	within(t, 20*time.Second, "seven alarms are told", func() bool {
		n := 0
		for _, h := range w.all() {
			if h.topic == "alarm/room-warm" {
				n++
			}
		}
		return n >= 7
	})
	n, err := strconv.Atoi(strings.TrimSpace(read(t, pid)))
	must(t, err)
	must(t, syscall.Kill(n, syscall.SIGTERM))
	if code := d.code(20 * time.Second); code != 0 {
		t.Errorf("the traced daemon ended with %d", code)
	}
	return strings.Split(read(t, log), "\n")
}

// The lines of strace: a call that another thread's cuts in two is first
// "unfinished" and later "resumed", with the thread's number before both.
var (
	walWrite   = regexp.MustCompile(`^\d+ +p?write(64|v)?\(\d+<[^>]*flowrig\.db-wal>`)
	walSync    = regexp.MustCompile(`^(\d+) +f(data)?sync\(\d+<[^>]*flowrig\.db-wal>(\) += 0| <unfinished)`)
	syncEnd    = regexp.MustCompile(`^(\d+) +<\.\.\. f(data)?sync resumed>\) += 0`)
	socketSend = regexp.MustCompile(`^\d+ +(write|writev|sendto|sendmsg)\(\d+<(socket|TCP)[^>]*>`)
	alarmSent  = regexp.MustCompile(`\\"sequence\\":(\d+),\\"name\\":\\"room-warm\\".*?\\"time\\":\\"([^\\]+)\\"`)
)

// toldAlarm is an alarm in a call that writes to a socket.
type toldAlarm struct {
	sequence int
	stamp    string // its time, the same text as in the database
	call     int
}

func toldAlarms(calls []string) (told []toldAlarm) {
	for i, call := range calls {
		if !socketSend.MatchString(call) || !strings.Contains(call, "alarm/room-warm") {
			continue
		}
		for _, m := range alarmSent.FindAllStringSubmatch(call, -1) {
			n, _ := strconv.Atoi(m[1])
			told = append(told, toldAlarm{n, m[2], i})
		}
	}
	return told
}

func indexAfter(calls []string, from int, fits func(string) bool) int {
	for i := from; i < len(calls); i++ {
		if fits(calls[i]) {
			return i
		}
	}
	return -1
}

// syncedAfter is the call in which a sync of the log is done that was begun
// after a call.
func syncedAfter(calls []string, from int) int {
	began := map[string]bool{}
	for i := from + 1; i < len(calls); i++ {
		switch m, end := walSync.FindStringSubmatch(calls[i]), syncEnd.FindStringSubmatch(calls[i]); {
		case m != nil && m[3] != " <unfinished":
			return i
		case m != nil:
			began[m[1]] = true
		case end != nil && began[end[1]]:
			return i
		}
	}
	return -1
}
