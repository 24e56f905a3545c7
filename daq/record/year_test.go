package record

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// A year's recording opens at once and is whole, and 600 buckets over a month or the
// year take at most twice what the last hour does. It has every roll-up of a year, and
// the rows of its last hour at one a second; before them a row a minute stands for sixty,
// which no picture reads there. Without -long the year has two days, and no speed is judged.
func TestAYear(t *testing.T) {
	year, dense := 2*24*time.Hour, time.Hour
	if *long {
		year = 365 * 24 * time.Hour
	}
	dir := t.TempDir()
	r := open(t, dir, Options{})
	n := 0
	for at := time.Duration(0); at < year; n++ {
		batch := tick(n + 1)
		batch.Input.Number, batch.State.Time = 0, start.Add(at)
		for id := range quantity.Count {
			if quantity.Table[id].Kind == quantity.Number {
				batch.State.Values.Put(id, 1+float64(id)/3+float64(n%997)/7e4)
			}
		}
		r.Put(batch)
		if n == 9 || n%1000 == 999 {
			r.Hurry()
			waitRow(t, r, int64(n+1))
		}
		if n == 9 { // from here on each row goes into the roll-ups as it is written
			waitRolled(t, r, 9)
		}
		at += time.Minute
		if at > year-dense {
			at += time.Second - time.Minute
		}
	}
	r.Hurry()
	waitRow(t, r, int64(n))
	waitRolled(t, r, int64(n)-60)
	shut(t, r)
	size, err := os.Stat(filepath.Join(dir, "flowrig.db"))
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	r = open(t, dir, Options{})
	t.Logf("%d rows, %.0f MB, open after %v", n, float64(size.Size())/1e6, time.Since(began))
	var word string
	if err := r.db.QueryRow(`PRAGMA integrity_check`).Scan(&word); err != nil || word != "ok" {
		t.Errorf("integrity_check: %s, %v", word, err)
	}
	spans := []time.Duration{time.Hour, min(30*24*time.Hour, year), year}
	took := make([][]time.Duration, len(spans))
	for range 9 {
		for i, span := range spans {
			began := time.Now()
			buckets, err := r.Trend(t.Context(), quantity.Reynolds, start.Add(year-span), start.Add(year), 600)
			if took[i] = append(took[i], time.Since(began)); err != nil || len(buckets) != 600 || slices.ContainsFunc(buckets, func(b daq.Bucket) bool { return b.Count == 0 }) {
				t.Fatalf("%v: %d buckets, %v", span, len(buckets), err)
			}
		}
	}
	for i, span := range spans {
		slices.Sort(took[i])
		t.Logf("600 buckets over %v: %v", span, took[i][4])
		if *long && took[i][4] > 2*took[0][4] { // a speed, which other programs disturb
			t.Errorf("%v takes more than twice what %v does", span, spans[0])
		}
	}
}

// waitRolled waits until the roll-ups have a row.
func waitRolled(t *testing.T, r *Recorder, sequence int64) {
	t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		covered, _, err := rollupsEnd(r.db)
		if err == nil && covered >= sequence {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("the roll-ups have the rows up to %d, want %d: %v", covered, sequence, err)
		}
	}
}
