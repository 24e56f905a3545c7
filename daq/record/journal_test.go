//go:build unix

package record

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
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

// journal opens a recording, or does not.
func journal(t *testing.T, dir string, log io.Writer) *Journal {
	t.Helper()
	return NewJournal(JournalOptions{Directory: dir, Options: Options{Retention: Retention{DurableWithin: time.Millisecond}, Log: slog.New(slog.NewTextHandler(log, nil))}})
}

// TestEventsWithoutARecording gives more events than may wait for a directory
// that cannot be used: those that found no room are counted and logged, the
// others are journalled once the directory can be used.
func TestEventsWithoutARecording(t *testing.T) {
	t.Parallel()
	var said bytes.Buffer
	directory := filepath.Join(t.TempDir(), "record")
	write(t, directory, "a file is in the way")
	r := journal(t, directory, &said)
	for n := range heldLimit + 5 {
		r.Put(noted(n + 1))
	}
	if got := r.LostEvents(); got != 5 {
		t.Errorf("%v events without room, want 5", got)
	}
	if err := os.Remove(directory); err != nil {
		t.Fatal(err)
	}
	if !r.try() {
		t.Fatal(r.Healthy())
	}
	until(t, r.open.Load(), "everything on disk", func() bool { n, _, _ := r.Waiting(); return n == 0 })
	list, err := r.Pending(t.Context(), daq.ClassEvent, 0, 2*heldLimit)
	if err != nil || len(list) != heldLimit {
		t.Errorf("%d events in the journal, want %d; %v", len(list), heldLimit, err)
	}
	if err := r.Close(context.Background()); err != nil {
		t.Error(err)
	}
	if _, dropped, _ := r.Waiting(); r.LostEvents() != 5 || dropped.Events != 0 || !strings.Contains(said.String(), "events=5") {
		t.Errorf("lost %v, dropped %+v; the log:\n%s", r.LostEvents(), dropped, said.String())
	}
}

// TestHoldLooksAgain is a step that finds no recording and comes to wait just
// after one has been opened: nobody would fetch it.
func TestHoldLooksAgain(t *testing.T) {
	t.Parallel()
	r := journal(t, t.TempDir(), io.Discard)
	if r.hold(step{Batch: noted(1)}) != r.open.Load() || len(r.held) != 0 {
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
	first := journal(t, dir, io.Discard)
	first.Put(begin(1, daq.KindStart, "old"))
	for n := range uint64(9) {
		first.Put(tick(n + 2))
	}
	late := journal(t, dir, io.Discard) // the first still holds it
	for n := range heldLimit {
		late.held = append(late.held, step{Batch: noted(n + 1000)}) // no room for events is room for a start
	}
	late.Put(begin(1, daq.KindStart, "new"))
	late.held = late.held[heldLimit:]
	late.Put(tick(2))
	late.Put(begin(3, daq.KindReload, "newer"))
	if err := first.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !late.try() {
		t.Fatal(late.Healthy())
	}
	late.Put(tick(4))
	row := tick(5)
	row.State = &daq.State{Time: at}
	late.Put(row)
	if err := late.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	reader, err := OpenReader(dir)
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
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(`SELECT configuration FROM sample`).Scan(&sha); err != nil {
		t.Fatal(err)
	}
	return sha
}

// TestTheFeedOutlivesTheDatabase: one feed goes on while there is no database, when one
// is opened, and when that is lost and another one takes its place. Nothing told
// without the disk is left out of it.
func TestTheFeedOutlivesTheDatabase(t *testing.T) {
	t.Parallel()
	directory := filepath.Join(t.TempDir(), "record")
	write(t, directory, "a file is in the way")
	j := journal(t, directory, io.Discard)
	k := &keeper{}
	j.Keep(k)
	told := make(chan daq.Message, 9)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{}, 2)
	go func() { j.Follow(ctx, func(m daq.Message) { told <- m }); done <- struct{}{} }()
	answer := make(chan daq.Reply, 1)
	put := func(n uint64, state string) {
		j.Put(daq.Batch{Input: daq.Input{Number: n, Wall: start, Kind: daq.KindCommand, Command: &daq.Command{Answer: answer}},
			Reply: &daq.Reply{}, Events: []daq.Event{raise("a", state, int(n))}})
	}
	expect := func(state string, recorded bool) {
		t.Helper()
		select {
		case m := <-told:
			if body := string(m.Body); !strings.Contains(body, state) || strings.Contains(body, `"recorded":true`) != recorded {
				t.Errorf("told %s, want %s, recorded %v", body, state, recorded)
			}
		case <-time.After(patience):
			t.Fatal("nothing is told of", state)
		}
	}
	put(1, "unacknowledged")
	expect("unacknowledged", false)
	<-answer
	if _, known := j.Latest(); known || len(j.Provisional(0)) != 1 {
		t.Errorf("known %v, provisional %v", known, j.Provisional(0))
	}
	if err := os.Remove(directory); err != nil {
		t.Fatal(err)
	}
	go func() { _ = j.Run(ctx); done <- struct{}{} }()
	expect("unacknowledged", true)
	first := j.Recording()
	if list, ok := j.AtHand(daq.ClassAlarm, 0, 9); !ok || len(list) != 1 || len(j.Provisional(0)) != 0 {
		t.Errorf("at hand %v %v, provisional %v", list, ok, j.Provisional(0))
	}
	if err := os.Rename(databasePath(directory), databasePath(directory)+".away"); err != nil {
		t.Fatal(err)
	}
	put(2, "acknowledged")
	<-answer
	for again := true; again; { // provisional first, where the new one takes its time
		m := <-told
		again = m.Class != daq.ClassAlarm || !strings.Contains(string(m.Body), `"recorded":true`)
	}
	j.Mark("desk", daq.ClassAlarm, 1) // of the first one's messages
	if n, err := j.Marked("desk", daq.ClassAlarm); err != nil || n != 0 {
		t.Errorf("the second recording has the mark %d of the first, %v", n, err)
	}
	latest, known := j.Latest()
	if m := string(latest["a"].Body); !known || j.Recording() == first || !strings.Contains(m, j.Recording()) || !strings.Contains(m, `"acknowledged"`) {
		t.Errorf("in the second recording, known %v: %s", known, m)
	}
	cancel()
	<-done
	<-done
	if err := j.Close(t.Context()); err != nil {
		t.Error(err)
	}
	want := "observe unacknowledged; journalled unacknowledged 1; observe acknowledged; recording; journalled acknowledged 1"
	if got := strings.Join(k.heard, "; "); got != want {
		t.Errorf("the keeper heard %q, want %q", got, want)
	}
}

// TestARecordingInPlaceOfALostOneNamesItsConfiguration: its first row, or its first
// input, comes before a start does, and the text of the configuration with it.
func TestARecordingInPlaceOfALostOneNamesItsConfiguration(t *testing.T) {
	t.Parallel()
	for _, next := range []daq.Batch{
		{State: &daq.State{Time: start}}, // of a step that waited
		{Input: daq.Input{Number: 3, Wall: start, Kind: daq.KindTick}},
	} {
		dir := filepath.Join(t.TempDir(), "record")
		j := journal(t, dir, io.Discard)
		first := begin("f00")
		first.Input.Start.Config = &config.Config{SHA256: "f00", Text: []byte("site = \"north-hall\"\n")}
		j.Put(first)
		was := j.Recording()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { _ = j.Run(ctx); close(done) }()
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		j.Put(daq.Batch{Input: daq.Input{Number: 2, Wall: start, Kind: daq.KindTick}})
		for end := time.Now().Add(patience); j.Recording() == was || j.Recording() == ""; time.Sleep(time.Millisecond) {
			if time.Now().After(end) {
				t.Fatal("no recording takes the place of the lost one")
			}
		}
		j.Put(next)
		cancel()
		<-done
		if err := j.Close(t.Context()); err != nil {
			t.Fatal(err)
		}
		r, err := OpenReader(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		runs, err := r.Runs(t.Context())
		if err != nil || next.State == nil && (len(runs) != 1 || runs[0].Configuration != "f00") {
			t.Errorf("runs %+v, %v", runs, err)
		}
		if text, err := r.Configuration(t.Context(), "f00"); text != "site = \"north-hall\"\n" || err != nil {
			t.Errorf("%q, %v", text, err)
		}
	}
}

// keeper is one that remembers what it hears of alarms.
type keeper struct {
	mu    sync.Mutex
	heard []string
}

func (k *keeper) note(text string, args ...any) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.heard = append(k.heard, fmt.Sprintf(text, args...))
}

func (k *keeper) Observe(events []daq.Event) {
	if a := events[0].Alarm; a != nil {
		k.note("observe %s", a.State)
	}
}

func (k *keeper) Journalled(events []daq.Event, sequences []int64) {
	if a := events[0].Alarm; a != nil {
		k.note("journalled %s %d", a.State, sequences[0])
	}
}

func (k *keeper) Recording(string, int64) { k.note("recording") }

// TestWhatWaitsNoMoreCanBeRead: a step counts as waiting until its events are among
// those that readers see.
func TestWhatWaitsNoMoreCanBeRead(t *testing.T) {
	t.Parallel()
	var r *Recorder
	waiting := make(chan int, 1)
	r = open(t, t.TempDir(), Options{Journalled: func([]daq.Event, []int64) { waiting <- r.Waiting() }})
	r.Put(noted(1))
	if n := <-waiting; n != 1 {
		t.Errorf("%d steps wait while their events are not told", n)
	}
}
