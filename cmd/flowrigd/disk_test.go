//go:build unix

package main

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// diskTables make the alarms of the disk tests quick, beside a broker.
func diskTables(broker string) string {
	return `
[alarms.water-overheat]
on_delay = "0 s"

[alarms.recording-failed]
on_delay = "1 s"
` + mqttTable(broker)
}

// TestAlarmWithoutTheDisk lets the disk hang, and fill up, while the water
// overheats. The alarm is told within 1.5 s all the same, as not recorded;
// recording-failed is raised and /readyz says why. When the disk is well again
// the journal is whole, and each alarm is told again with its sequence.
func TestAlarmWithoutTheDisk(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, seam, why string }{
		{"a disk that hangs", "FLOWRIGD_DISK_HANG", "the disk has not answered"},
		{"a disk that is full", "FLOWRIGD_DISK_FULL", "no space left"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			alarmWithoutTheDisk(t, c.seam, c.why)
		})
	}
}

func alarmWithoutTheDisk(t *testing.T, seam, why string) {
	b, at, w := newHandBench(t), daqtest.FreeAddress(t), callWitness(t)
	fault := filepath.Join(b.dir, "fault")
	d := startWith(t, []string{seam + "=" + fault}, faulty, "run", "--config", b.config(at, diskTables(w.url)))
	within(t, 10*time.Second, "a good state, recorded and told", func() bool {
		return allGood(now(at)) && w.last("record") != nil
	})
	write(t, fault, "")
	b.set(func(b *handBench) { b.celsius = 80 })
	within(t, 5*time.Second, "the alarm is told without the disk", func() bool { return w.find("alarm/water-overheat", unrecorded) != nil })
	h := w.find("alarm/water-overheat", unrecorded)
	raised, err := time.Parse(time.RFC3339Nano, fmt.Sprint(h.body["time"]))
	if late := h.at.Sub(raised); err != nil || late > 1500*time.Millisecond {
		t.Errorf("the alarm of %v was told %v later, want 1.5 s at most; %v", raised, late, err)
	}
	if h.sequence() != 0 || h.body["state"] != "unacknowledged" {
		t.Errorf("told without the disk: %s", h.text)
	}
	within(t, 5*time.Second, "recording-failed is raised", func() bool { return w.find("alarm/recording-failed", unrecorded) != nil })
	if status, body := get("http://" + at + "/readyz"); status != 503 || !strings.Contains(body, why) {
		t.Errorf("/readyz says %d %s", status, body)
	}
	must(t, os.Remove(fault))
	within(t, 10*time.Second, "each alarm is told again with its sequence", func() bool {
		return w.find("alarm/water-overheat", recorded) != nil && w.find("alarm/recording-failed", recorded) != nil
	})
	within(t, 10*time.Second, "ready again", func() bool {
		status, _ := get("http://" + at + "/readyz")
		return status == 200
	})
	d.ends(exitDone)
	journalIsWhole(t, filepath.Join(b.dir, "record", "flowrig.db"), w)
}

func unrecorded(h heard) bool { return h.body["recorded"] == false }
func recorded(h heard) bool   { return h.body["recorded"] == true }

// journalIsWhole holds that rows and alarms have no hole, that no row of the
// time without a disk is missing, and that each alarm which was told without
// the disk is there, once.
func journalIsWhole(t *testing.T, path string, w *witness) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	must(t, err)
	defer db.Close()
	for _, table := range []string{"sample", "alarm_event"} {
		var rows, newest int
		if err := db.QueryRow(`SELECT count(*), max(sequence) FROM `+table).Scan(&rows, &newest); err != nil || rows != newest {
			t.Errorf("%s: %d rows up to sequence %d, %v", table, rows, newest, err)
		}
	}
	var longest float64 // rows are a second apart
	err = db.QueryRow(`SELECT max(gap) FROM (SELECT (julianday(time) - julianday(lag(time) OVER (ORDER BY sequence))) * 86400 AS gap FROM sample)`).Scan(&longest)
	if err != nil || longest > 2 {
		t.Errorf("the longest time between two rows is %.2f s, %v", longest, err)
	}
	for _, h := range w.all() {
		if !strings.HasPrefix(h.topic, "alarm/") || !unrecorded(h) {
			continue
		}
		var n int
		err := db.QueryRow(`SELECT count(*) FROM alarm_event WHERE name = ? AND state = ? AND abs(julianday(time) - julianday(?)) * 86400 < 0.001`,
			h.body["name"], h.body["state"], h.body["time"]).Scan(&n)
		if err != nil || n != 1 {
			t.Errorf("%d rows of %s, %v", n, h.text, err)
		}
	}
}
