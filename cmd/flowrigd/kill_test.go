//go:build unix

package main

import (
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// What the killed daemon is configured to: a row each killEvery, on disk
// within killDurable.
const (
	killRounds  = 20
	killEvery   = 200 * time.Millisecond
	killDurable = time.Second
)

// flappingAlarm is a line with a thermometer of the room that jumps over a limit
// and back with every other answer, and the tables that make it an alarm.
func flappingAlarm(t *testing.T, dir, every string) (tables string) {
	t.Helper()
	var n atomic.Int64
	line := newHandLine(t, filepath.Join(dir, "air"), func(heard []byte) (answer, rest []byte) {
		if len(heard) == 0 {
			return nil, nil
		}
		return fmt.Appendf(nil, "A=%d\n", 20+40*(n.Add(1)/2%2)), nil
	})
	return roomTables(line.name, every)
}

// roomTables are a thermometer of the room and its alarm.
func roomTables(device, every string) string {
	return fmt.Sprintf(`
[ports.air]
device = %q
baud = 19200
framing = "8N1"
timeout = "100 ms"

[instruments.ambient]
port = "air"
every = %q
query = {send = "A", reply = "A={value}", end = "\n"}
unit = "Cel"
accuracy = {fixed = "1 K"}

[alarms.room-warm]
on = "ambient"
above = "40 Cel"
on_delay = "0 s"
priority = "low"
`, device, every)
}

// TestKilledAtRandomMoments kills a daemon on a simulated rig twenty times.
// After each kill the database opens and is whole, and holds whatever was told
// as recorded: over MQTT, and in /api/now. Sequences go on over the restarts,
// and in the end every row has arrived.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	k := newKillTest(t)
	rounds := killRounds
	if testing.Short() {
		rounds = 3
	}
	few := func() bool { return len(k.told["record"]) < 2*rounds || len(k.told["alarm"]) < 2*rounds }
	for n := 0; n < rounds || few() && n < 5*rounds; n++ { // short lives tell little
		k.round(n)
	}
	k.ends()
	t.Logf("%d rows and %d alarms were told", len(k.told["record"]), len(k.told["alarm"]))
	if few() {
		t.Error("so few messages show little")
	}
}

// killTest is what is known from outside while the daemon is killed again and
// again.
type killTest struct {
	t       *testing.T
	w       *witness
	config  string
	data    string
	at      string
	checked int                         // messages of the witness that were looked at
	told    map[string]map[int64]string // class → sequence → what was told
}

func newKillTest(t *testing.T) *killTest {
	dir := t.TempDir()
	k := &killTest{t: t, w: callWitness(t), at: daqtest.FreeAddress(t), data: filepath.Join(dir, "record"),
		told: map[string]map[int64]string{"record": {}, "alarm": {}}}
	simulated(t, dir)
	record := fmt.Sprintf("every = \"%d ms\"\ndurable_within = \"%d ms\"\n", killEvery.Milliseconds(), killDurable.Milliseconds())
	k.config = rigConfig(t, dir, k.at, record+flappingAlarm(t, dir, "100 ms")+mqttTable(k.w.url))
	return k
}

// round runs the daemon until a random moment.
func (k *killTest) round(n int) {
	k.t.Helper()
	d := start(k.t, program, "run", "--config", k.config)
	var killed atomic.Pointer[time.Time]
	time.AfterFunc(50*time.Millisecond+rand.N(2500*time.Millisecond), func() {
		at := time.Now()
		killed.Store(&at)
		d.signal(syscall.SIGKILL)
	})
	began, sequence := k.follow(d)
	if killed.Load() == nil {
		k.t.Fatalf("round %d: the daemon ended by itself", n)
	}
	if _, err := os.Stat(filepath.Join(k.data, "flowrig.db")); errors.Is(err, os.ErrNotExist) && k.checked == 0 && sequence == 0 {
		return // killed before there was a recording; what the witness may have heard is looked at in the next round
	}
	db := k.open(n)
	defer db.Close()
	k.holds(db, n)
	newest, at := k.newest(db, n)
	if sequence > newest {
		k.t.Errorf("round %d: /api/now gave sequence %d as recorded, the newest row is %d", n, sequence, newest)
	}
	due := killed.Load().Add(-killEvery - killDurable)
	if !began.IsZero() && began.Before(due) && at.Before(due) {
		k.t.Errorf("round %d: killed at %v, the newest row is of %v: more than every + durable_within old", n, killed.Load(), at)
	}
}

// follow reads /api/now until the daemon is gone: since when it answered, and
// the newest sequence that it gave.
func (k *killTest) follow(d *process) (began time.Time, sequence int64) {
	for {
		select {
		case <-d.done:
			return began, sequence
		case <-time.After(10 * time.Millisecond):
		}
		s := now(k.at)
		if s == nil || !allGood(s) {
			continue
		}
		if began.IsZero() {
			began = time.Now()
		}
		n, _ := s["sequence"].(float64)
		sequence = max(sequence, int64(n))
	}
}

// open opens the database as the killed daemon left it.
func (k *killTest) open(n int) *sql.DB {
	k.t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(k.data, "flowrig.db"))
	must(k.t, err)
	var verdict string
	if err := db.QueryRow(`PRAGMA integrity_check`).Scan(&verdict); err != nil || verdict != "ok" {
		k.t.Fatalf("round %d: the database is %s, %v", n, verdict, err)
	}
	return db
}

// newest is the newest row; its number is the number of rows, for there is no
// gap.
func (k *killTest) newest(db *sql.DB, n int) (sequence int64, at time.Time) {
	k.t.Helper()
	if !k.hasTables(db) {
		return 0, time.Time{}
	}
	for _, table := range []string{"alarm_event", "sample"} {
		var count int64
		var text string
		if err := db.QueryRow(`SELECT count(*), coalesce(max(sequence), 0), coalesce(max(time), '') FROM `+table).Scan(&count, &sequence, &text); err != nil || count != sequence {
			k.t.Fatalf("round %d: %s has %d rows up to sequence %d, %v", n, table, count, sequence, err)
		}
		at, _ = time.Parse(time.RFC3339Nano, text)
	}
	return sequence, at
}

// hasTables is false when the kill came before there was anything.
func (k *killTest) hasTables(db *sql.DB) bool {
	k.t.Helper()
	var n int
	must(k.t, db.QueryRow(`SELECT count(*) FROM sqlite_schema WHERE name = 'sample'`).Scan(&n))
	return n == 1
}

// holds looks for every message that the witness heard since the last time.
func (k *killTest) holds(db *sql.DB, n int) {
	k.t.Helper()
	list := k.w.all()
	for _, h := range list[k.checked:] {
		class, query := "record", `SELECT time || ' ' FROM sample WHERE sequence = ?`
		text := fmt.Sprint(h.body["time"], " ")
		switch {
		case strings.HasPrefix(h.topic, "alarm/") && h.body["recorded"] == true:
			class, query = "alarm", `SELECT time || ' ' || state FROM alarm_event WHERE sequence = ?`
			text = fmt.Sprint(h.body["time"], " ", h.body["state"])
		case h.topic != "record":
			continue
		}
		k.once(class, h, text)
		var have string
		if err := db.QueryRow(query, h.sequence()).Scan(&have); err != nil || !sameStamp(have, text) {
			k.t.Errorf("round %d: %s %d was told as %q, the database has %q, %v", n, class, h.sequence(), text, have, err)
		}
	}
	k.checked = len(list)
}

// once holds that a sequence is never used for two things, and that first
// deliveries come in order.
func (k *killTest) once(class string, h heard, text string) {
	k.t.Helper()
	n := h.sequence()
	if before, again := k.told[class][n]; again {
		if before != text {
			k.t.Errorf("%s %d was told as %q and as %q", class, n, before, text)
		}
		return
	}
	if n != int64(len(k.told[class])+1) {
		k.t.Errorf("%s %d comes after %d others", class, n, len(k.told[class]))
	}
	k.told[class][n] = text
}

// sameStamp compares "time word", where the times may differ in zeros at
// their end.
func sameStamp(a, b string) bool {
	var at [2]time.Time
	var word [2]string
	for i, text := range []string{a, b} {
		var stamp string
		if _, err := fmt.Sscan(text+" -", &stamp, &word[i]); err != nil {
			return false
		}
		var err error
		if at[i], err = time.Parse(time.RFC3339Nano, stamp); err != nil {
			return false
		}
	}
	return at[0].Equal(at[1]) && word[0] == word[1]
}

// ends runs the daemon once more, to its orderly end: then every row and every
// alarm has arrived.
func (k *killTest) ends() {
	k.t.Helper()
	d := start(k.t, program, "run", "--config", k.config)
	within(k.t, 10*time.Second, "a good state after the kills", func() bool { return allGood(now(k.at)) })
	d.ends(exitDone)
	db := k.open(killRounds)
	defer db.Close()
	k.holds(db, killRounds)
	rows, _ := k.newest(db, killRounds)
	if told := int64(len(k.told["record"])); told != rows {
		k.t.Errorf("%d rows are recorded, %d have arrived", rows, told)
	}
}
