//go:build unix

package main

import (
	"context"
	"database/sql"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/record"
)

// noted is a step with one note.
func noted(n int) daq.Batch {
	at := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	return daq.Batch{
		Input:  daq.Input{Number: uint64(n), Wall: at, Kind: daq.KindTick},
		Events: []daq.Event{{Note: &daq.Note{Kind: "refused", Time: at, Text: "a note"}}},
	}
}

// drops is what a queue of the recording dropped, as the metrics have it; -1
// where they have no such queue.
func (r *recording) drops(queue string) float64 {
	for _, s := range r.stats() {
		if s.Name == "flowrig_queue_dropped_total" && s.Of == queue {
			return s.Value
		}
	}
	return -1
}

// TestEventsWithoutARecording gives more events than may wait for a directory
// that cannot be used: those that found no room are counted and logged, the
// others are journalled once the directory can be used.
func TestEventsWithoutARecording(t *testing.T) {
	t.Parallel()
	said := &lines{}
	directory := write(t, filepath.Join(t.TempDir(), "record"), "a file is in the way")
	r := openRecording(config.Record{Directory: directory, DurableWithin: time.Millisecond}, slog.New(slog.NewTextHandler(said, nil)))
	for n := range heldLimit + 5 {
		r.Put(noted(n + 1))
	}
	if got := r.drops("record-held"); got != 5 {
		t.Errorf("the metrics have %v events without room, want 5", got)
	}
	if err := os.Remove(directory); err != nil {
		t.Fatal(err)
	}
	if !r.try() {
		t.Fatal(r.healthy())
	}
	within(t, 20*time.Second, "everything on disk", func() bool { return r.open.Load().Waiting() == 0 })
	list, err := r.Pending(t.Context(), daq.ClassEvent, 0, 2*heldLimit)
	if err != nil || len(list) != heldLimit {
		t.Errorf("%d events in the journal, want %d; %v", len(list), heldLimit, err)
	}
	if r.drops("record-held") != 5 || r.drops("record-events") != 0 || !strings.Contains(said.String(), "events=5") {
		t.Errorf("held %v, events %v; the log:\n%s", r.drops("record-held"), r.drops("record-events"), said)
	}
	if err := r.Close(context.Background()); err != nil {
		t.Error(err)
	}
}

// TestHoldLooksAgain is a step that finds no recording and comes to wait just
// after one has been opened: nobody would fetch it.
func TestHoldLooksAgain(t *testing.T) {
	t.Parallel()
	r := openRecording(config.Record{Directory: t.TempDir()}, slog.New(slog.DiscardHandler))
	if r.hold(noted(1)) != r.open.Load() || len(r.held) != 0 {
		t.Errorf("%d steps wait beside an open recording", len(r.held))
	}
	if err := r.Close(context.Background()); err != nil {
		t.Error(err)
	}
}

// TestLateRecordingBeginsItsOwnRun opens the recording of an earlier run late:
// what is recorded then is a run of its own, with its own configuration, and
// with every input since.
func TestLateRecordingBeginsItsOwnRun(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	at := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	begin := func(n uint64, kind daq.Kind, sha string) daq.Batch {
		return daq.Batch{Input: daq.Input{Number: n, Wall: at, Kind: kind, Start: &daq.Start{Configuration: sha}}}
	}
	tick := func(n uint64) daq.Batch {
		return daq.Batch{Input: daq.Input{Number: n, Wall: at, Kind: daq.KindTick}}
	}
	first := openRecording(config.Record{Directory: dir}, slog.New(slog.DiscardHandler))
	first.Put(begin(1, daq.KindStart, "old"))
	for n := range uint64(9) {
		first.Put(tick(n + 2))
	}
	late := openRecording(config.Record{Directory: dir}, slog.New(slog.DiscardHandler)) // the first still holds it
	for n := range heldLimit {
		late.held = append(late.held, noted(n+1000)) // no room for events is room for a start
	}
	late.Put(begin(1, daq.KindStart, "new"))
	late.held = late.held[heldLimit:]
	late.Put(tick(2))
	late.Put(begin(3, daq.KindReload, "newer"))
	if err := first.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !late.try() {
		t.Fatal(late.healthy())
	}
	late.Put(tick(4))
	row := tick(5)
	row.State = &daq.State{Time: at}
	late.Put(row)
	if err := late.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	reader, err := record.OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	runs, err := reader.Runs(t.Context())
	if err != nil || len(runs) != 2 || runs[0].Inputs != 10 || runs[1].Configuration != "new" {
		t.Fatalf("runs %+v, %v", runs, err)
	}
	var numbers []uint64
	for in, err := range reader.Inputs(t.Context(), 2, 0) {
		if err != nil {
			t.Fatal(err)
		}
		numbers = append(numbers, in.Number)
	}
	if !slices.Equal(numbers, []uint64{1, 3, 4, 5}) {
		t.Errorf("the late run has the inputs %d", numbers)
	}
	if got := rowConfiguration(t, dir); got != "newer" {
		t.Errorf("the row names the configuration %q", got)
	}
}

// rowConfiguration is what the only row names.
func rowConfiguration(t *testing.T, dir string) (sha string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, record.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(`SELECT configuration FROM sample`).Scan(&sha); err != nil {
		t.Fatal(err)
	}
	return sha
}
