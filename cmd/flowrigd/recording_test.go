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
