package record

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/daqtest"
)

// childDirectory, in the environment, makes the test binary a process that
// records until it is killed.
const childDirectory = "FLOWRIG_RECORD_CHILD"

// childQuiet lets it have no alarms, whose commits would carry the rows along.
const childQuiet = "FLOWRIG_RECORD_CHILD_QUIET"

const childWithin = 600 * time.Millisecond

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDirectory); dir != "" {
		fmt.Fprintln(os.Stderr, recordUntilKilled(dir))
		os.Exit(1)
	}
	daqtest.AtOnce("4")
	os.Exit(m.Run())
}

// recordUntilKilled says on stdout what it put and what it was told, each in
// one write: "row N NANOSECONDS" when a row was put, "alarm SEQUENCE STATE" when
// an alarm was told as recorded.
func recordUntilKilled(dir string) error {
	r, err := Open(dir, Options{Retention: Retention{DurableWithin: childWithin}, Journalled: func(events []daq.Event, sequences []int64) {
		fmt.Printf("alarm %d %s\n", sequences[0], events[0].Alarm.State)
	}})
	if err != nil {
		return err
	}
	r.Put(begin("abc"))
	first := int(r.Newest())
	quiet := os.Getenv(childQuiet) == "yes"
	for n := 2; ; n++ {
		time.Sleep(time.Duration(rand.Int64N(int64(4 * time.Millisecond))))
		b := tick(n)
		b.State.Values.Put(quantity.Reynolds, float64(first+n-1))
		if n%5 == 0 && !quiet {
			state := fmt.Sprintf("%d-%d", first, n)
			b.Events = []daq.Event{raise("a", state, n)}
		}
		at := time.Now()
		r.Put(b)
		fmt.Printf("row %d %d\n", first+n-1, at.UnixNano())
	}
}

// A recording process is killed twenty times, on two directories side by side.
// Afterwards nothing that was told as recorded is missing, no row older than
// durable_within is missing, and the database is whole.
func TestKilledAtAnyMoment(t *testing.T)         { killTenTimes(t) }
func TestKilledAtAnyMomentBesideIt(t *testing.T) { killTenTimes(t) }

func killTenTimes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	alarms, owed := map[string]bool{}, 0
	for round := range 10 {
		quiet := []string{"no", "yes"}[round%2]
		lines, killed := killAfter(t, dir, quiet, time.Duration(20+rand.Int64N(1200))*time.Millisecond)
		rows := 0
		for _, line := range lines {
			var n, at int64
			if k, _ := fmt.Sscanf(line, "row %d %d", &n, &at); k == 2 && killed.Sub(time.Unix(0, at)) > childWithin {
				rows = int(n)
			} else if strings.HasPrefix(line, "alarm ") {
				alarms[line] = true
			}
		}
		owed += rows
		checkAfterKill(t, dir, round, rows, alarms)
	}
	if len(alarms) < 25 || owed == 0 {
		t.Errorf("%d alarms were told, %d rows owed: the test shows little", len(alarms), owed)
	}
}

// killAfter gives what the process said, and when it was killed.
func killAfter(t *testing.T, dir, quiet string, after time.Duration) (lines []string, killed time.Time) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDirectory+"="+dir, childQuiet+"="+quiet)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	scanner := bufio.NewScanner(out)
	scanner.Scan() // it runs
	lines = append(lines, scanner.Text())
	timer := time.AfterFunc(after, func() { killed = time.Now(); cmd.Process.Kill() })
	for scanner.Scan() {
		lines = append(lines, scanner.Text())
	}
	cmd.Wait()
	if timer.Stop() {
		t.Fatalf("the process ended by itself: %q", lines)
	}
	return lines, killed
}

func checkAfterKill(t *testing.T, dir string, round, rows int, alarms map[string]bool) {
	t.Helper()
	r, err := OpenReader(dir) // as another program does, before anything is repaired by a writer
	if err != nil {
		t.Fatalf("round %d: %v", round, err)
	}
	defer r.Close()
	var verdict string
	if err := r.db.QueryRow(`PRAGMA integrity_check`).Scan(&verdict); err != nil || verdict != "ok" {
		t.Fatalf("round %d: %s, %v", round, verdict, err)
	}
	list, err := r.Pending(t.Context(), daq.ClassAlarm, 0, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for i, m := range list {
		var state string
		if err := r.db.QueryRow(`SELECT state FROM alarm_event WHERE sequence = ?`, m.Sequence).Scan(&state); err != nil || m.Sequence != int64(i+1) {
			t.Fatalf("round %d: alarm %d has sequence %d, %v", round, i+1, m.Sequence, err)
		}
		have[fmt.Sprintf("alarm %d %s", m.Sequence, state)] = true
	}
	for told := range alarms {
		if !have[told] {
			t.Errorf("round %d: told but not in the database: %s", round, told)
		}
	}
	checkRows(t, r, round, rows)
}

// checkRows wants every row up to the given one, each under its own sequence.
func checkRows(t *testing.T, r *Reader, round, want int) {
	t.Helper()
	var count, newest, wrong int
	err := r.db.QueryRow(`SELECT count(*), coalesce(max(sequence), 0), coalesce(sum(reynolds_number <> sequence), 0) FROM sample`).Scan(&count, &newest, &wrong)
	if err != nil || count != newest || wrong != 0 {
		t.Fatalf("round %d: %d rows up to %d, %d of them out of order, %v", round, count, newest, wrong, err)
	}
	if newest < want {
		t.Errorf("round %d: row %d was put more than %v before the kill and is missing; newest is %d", round, want, childWithin, newest)
	}
}
