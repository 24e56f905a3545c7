package record

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
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

// childPacks lets it pack as fast as it can, and purge what is beyond so many bytes.
const childPacks = "FLOWRIG_RECORD_CHILD_PACKS"

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
	o := Options{Retention: Retention{DurableWithin: childWithin}}
	if size := os.Getenv(childPacks); size != "" {
		o.packing = packing{inputs: 40, recent: 50 * time.Millisecond, step: 7, every: 5 * time.Millisecond, soon: time.Millisecond}
		o.MaxSize, _ = strconv.ParseInt(size, 10, 64)
	}
	o.Journalled = func(events []daq.Event, sequences []int64) {
		fmt.Printf("alarm %d %s\n", sequences[0], events[0].Alarm.State)
	}
	r, err := Open(dir, o)
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
		b.Input.Mono = time.Duration(n) * time.Millisecond
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
		lines, killed := killAfter(t, dir, quiet, time.Duration(20+rand.Int64N(1200))*time.Millisecond+longer(round, owed > 0))
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
	var count, oldest, newest, wrong int
	err := r.db.QueryRow(`SELECT count(*), coalesce(min(sequence), 1), coalesce(max(sequence), 0), coalesce(sum(reynolds_number <> sequence), 0) FROM sample`).Scan(&count, &oldest, &newest, &wrong)
	if os.Getenv(childPacks) == "" {
		oldest = 1 // nothing is purged
	}
	if err != nil || count != newest-oldest+1 || wrong != 0 {
		t.Fatalf("round %d: %d rows up to %d, %d of them out of order, %v", round, count, newest, wrong, err)
	}
	if rolled := rolled(t, r); os.Getenv(childPacks) == "" {
		if n := readerCount(t, r, `SELECT count(*) FROM (`+perLevel("SELECT coalesce(sum(row_count), 0) AS n FROM %s")+`) WHERE n = `+fmt.Sprint(rolled)); n != len(levels) {
			t.Errorf("round %d: %d of %d levels have the %d rows that are rolled up", round, n, len(levels), rolled)
		}
	}
	if newest < want {
		t.Errorf("round %d: row %d was put more than %v before the kill and is missing; newest is %d", round, want, childWithin, newest)
	}
}

// TestKilledWhilePacking: a process that packs and purges all the time is killed again and
// again. Of each run the inputs that are left are there once and without a gap, and every
// row and alarm as in TestKilledAtAnyMoment, but for the oldest rows that were purged.
func TestKilledWhilePacking(t *testing.T) {
	recordings := 1
	if *long {
		recordings = 10
	}
	for range recordings {
		killWhilePacking(t)
	}
}

func killWhilePacking(t *testing.T) {
	t.Helper()
	dir, alarms, packed, purged := t.TempDir(), map[string]bool{}, 0, false
	shut(t, open(t, dir, Options{}))
	info, err := os.Stat(databasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	for round := 0; round < 12 && (round < 4 || *long || packed == 0 || !purged); round++ {
		size := int64(1 << 30) // what is packed stays,
		if round%2 == 1 {
			size = info.Size() + 60_000 // and goes: that much beyond the empty tables
		}
		t.Setenv(childPacks, strconv.FormatInt(size, 10))
		lines, _ := killAfter(t, dir, "no", time.Duration(20+rand.Int64N(500))*time.Millisecond+longer(round, packed > 0 && purged))
		for _, line := range lines {
			if strings.HasPrefix(line, "alarm ") {
				alarms[line] = true
			}
		}
		blocks, gone := checkInputs(t, dir, round)
		packed, purged = packed+blocks, purged || gone
		checkAfterKill(t, dir, round, 0, alarms)
	}
	if packed == 0 || !purged {
		t.Errorf("%d blocks, purged: %v: the test shows little", packed, purged)
	}
}

// longer is what a process lives longer on a machine that was too slow so far to show what
// it is killed for.
func longer(round int, shown bool) time.Duration {
	if shown {
		return 0
	}
	return time.Duration(round) * 200 * time.Millisecond
}

// checkInputs wants each run's inputs from the oldest one left on, and gives how many
// blocks there are, and whether the oldest inputs were purged.
func checkInputs(t *testing.T, dir string, round int) (blocks int, purged bool) {
	t.Helper()
	r, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	runs, err := r.Runs(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, run := range runs {
		next := uint64(run.First)
		list, lost := inputsOf(t, r, run.Number)
		for _, in := range list {
			if in.Number != next {
				t.Fatalf("round %d: run %d: input %d where %d comes next", round, run.Number, in.Number, next)
			}
			next++
		}
		if lost != nil || len(list) > 0 && next != uint64(run.Inputs)+1 {
			t.Fatalf("round %d: run %d ends with input %d of %d, %v", round, run.Number, next-1, run.Inputs, lost)
		}
	}
	return readerCount(t, r, `SELECT count(*) FROM input_block`), runs[0].First != 1
}
