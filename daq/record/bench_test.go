package record

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// BenchmarkAlarmToDisk is an alarm's way to the disk and back; beside it
// stands BenchmarkBareSync, what the disk itself takes.
func BenchmarkAlarmToDisk(b *testing.B) {
	r := open(b, b.TempDir(), Options{})
	for b.Loop() {
		tell(b, r, raise("a", "x", 0))
	}
}

func BenchmarkBareSync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "f"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	page := make([]byte, 4096)
	for b.Loop() {
		if _, err := f.Write(page); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSecond is one second of a busy rig: twenty inputs and a row, in one
// commit.
func BenchmarkSecond(b *testing.B) {
	done := make(chan struct{}, 1)
	r := open(b, b.TempDir(), Options{Retention: Retention{DurableWithin: time.Hour}, Journalled: func([]daq.Event, []int64) { done <- struct{}{} }})
	n := 0
	for b.Loop() {
		for range 20 {
			n++
			r.Put(daq.Batch{Input: daq.Input{Number: uint64(n), Wall: start, Kind: daq.KindReading, Reading: daq.Reading{Instrument: quantity.Flow, Number: 1.0 / 3, Took: 12345678, At: 1234567890}}})
		}
		row := tick(n)
		row.Input.Kind = daq.KindHealth
		row.Events = []daq.Event{raise("a", "x", 0)}
		n++
		row.Input.Number = uint64(n)
		r.Put(row)
		<-done
	}
}

func BenchmarkPut(b *testing.B) {
	q := newQueue()
	batch := step{Batch: tick(1)}
	for b.Loop() {
		q.put(batch, start)
		q.rows, q.inputs = 0, 0
		if len(q.next.entries) > 1000 {
			q.next.entries = q.next.entries[:0]
		}
	}
}

// BenchmarkTrend is 600 buckets over an hour of rows, and over a month and a year of
// roll-ups: each is to take at most twice what the hour does.
func BenchmarkTrend(b *testing.B) {
	r := open(b, b.TempDir(), Options{packing: packing{every: 10 * time.Millisecond, soon: time.Millisecond, inputs: 50, step: 7}})
	year, n := 365*24*time.Hour, 0
	put := func(from, to, every time.Duration) {
		for ; from < to; from += every {
			n++
			batch := tick(n)
			batch.Input.Number = 0
			batch.State.Time = start.Add(from)
			r.Put(batch)
			if n%1000 == 0 {
				waitRow(b, r, int64(n))
			}
		}
	}
	put(0, year-time.Hour, 5*time.Minute)
	put(year-time.Hour, year, time.Second)
	waitRow(b, r, int64(n))
	for _, span := range []time.Duration{time.Hour, 10 * time.Hour, 24 * time.Hour, 30 * 24 * time.Hour, year} {
		b.Run(span.String(), func(b *testing.B) {
			for b.Loop() {
				if _, err := r.Trend(b.Context(), quantity.Reynolds, start.Add(year-span), start.Add(year), 600); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
