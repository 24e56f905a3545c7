//go:build unix

package main

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/record"
)

// tripJournal makes a recording in whose journal a trip stands.
func tripJournal(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	rec, err := record.Open(dir, record.Options{})
	must(t, err)
	at := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	rec.Put(daq.Batch{Input: daq.Input{Number: 1, Wall: at, Kind: daq.KindTick}, Events: []daq.Event{{Alarm: &daq.AlarmEvent{
		Name: "water-overheat", State: "latched-acknowledged", Priority: "high", Time: at, Tripped: true,
	}}}})
	must(t, rec.Close(context.Background()))
	return dir
}

// TestTripOutlivesARecordingThatCannotBeOpened starts on recordings that cannot
// be opened for writing, without a permit file beside them: a trip in the journal
// stands, and what is not known is taken for a trip. The first start has none.
func TestTripOutlivesARecordingThatCannotBeOpened(t *testing.T) {
	t.Parallel()
	blocked := func(t *testing.T, dir string) { // not a lock that could be taken
		os.Remove(filepath.Join(dir, "flowrig.lock"))
		must(t, os.Mkdir(filepath.Join(dir, "flowrig.lock"), 0o755))
	}
	for _, c := range []struct {
		name, want string
		dir        func(t *testing.T) string
	}{
		{"no lock to be had", "water-overheat journal-unread", func(t *testing.T) string { d := tripJournal(t); blocked(t, d); return d }},
		{"another writes", "water-overheat journal-unread", func(t *testing.T) string {
			d := tripJournal(t)
			other, err := record.Open(d, record.Options{})
			must(t, err)
			t.Cleanup(func() { other.Close(context.Background()) })
			return d
		}},
		{"damaged", daq.JournalUnread, func(t *testing.T) string {
			d := t.TempDir()
			write(t, filepath.Join(d, record.FileName), "this is no database, nor was it ever one; it is long enough to be told from one")
			return d
		}},
		{"a directory that cannot be read", daq.JournalUnread, func(t *testing.T) string {
			d := filepath.Join(t.TempDir(), "record")
			if err := os.Symlink(d, d); err != nil { // a link to itself
				t.Fatal(err)
			}
			return d
		}},
		{"a link that leads nowhere", daq.JournalUnread, func(t *testing.T) string {
			d := t.TempDir()
			must(t, os.Symlink("/nowhere/flowrig.db", filepath.Join(d, record.FileName)))
			return d
		}},
		{"first start", "", func(t *testing.T) string { d := t.TempDir(); blocked(t, d); return d }},
		{"a file in the way", "", func(t *testing.T) string { return write(t, filepath.Join(t.TempDir(), "record"), "x") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg := &config.Config{Site: "north-hall", Rig: "bench-3", Trip: &config.Trip{}, Record: config.Record{Directory: c.dir(t)}}
			cfg.HTTP.TokensFile = filepath.Join(t.TempDir(), "tokens")
			r := openRecording(cfg.Record, slog.New(slog.DiscardHandler), nil)
			if r.Recording() != "" {
				t.Fatal("the recording could be opened")
			}
			var names []string
			for _, s := range r.restore(cfg) {
				if !s.Tripped {
					t.Errorf("%s does not hold the permit: %+v", s.Name, s)
				}
				names = append(names, s.Name)
			}
			if got := strings.Join(names, " "); got != c.want {
				t.Errorf("restored %q, want %q", got, c.want)
			}
		})
	}
}
