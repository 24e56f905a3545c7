package hold

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq"
)

func transition(name, state string, tripped bool, at time.Duration) []daq.Event {
	return []daq.Event{
		{Note: &daq.Note{Kind: "permit"}},
		{Alarm: &daq.AlarmEvent{Name: name, State: state, Tripped: tripped, Time: noon.Add(at)}},
	}
}

func keep(path string, alarms ...daq.SavedAlarm) *Keeper {
	return NewKeeper(path, slog.New(slog.DiscardHandler), "A", 5, alarms)
}

// TestKeeperFollowsATrip writes each change of what holds the permit, and
// nothing else.
func TestKeeperFollowsATrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "permit.json")
	k := keep(path, saved("old", true, 0), saved("quiet", false, 0))
	holds := func(step string, want ...Entry) {
		t.Helper()
		if err := k.save(); err != nil {
			t.Fatal(err)
		}
		m, err := Read(path)
		if err != nil || len(m.Alarms) != len(want) {
			t.Fatalf("%s: %+v, %v", step, m, err)
		}
		for i, w := range want {
			if e := m.Alarms[i]; e.Name != w.Name || e.Tripped != w.Tripped || e.Sequence != w.Sequence || e.After != w.After {
				t.Errorf("%s: %+v, want %+v", step, e, w)
			}
		}
	}
	entry := func(name string, tripped bool, sequence, after int64) Entry {
		return Entry{SavedAlarm: daq.SavedAlarm{Name: name, Tripped: tripped}, Sequence: sequence, After: after}
	}
	old := entry("old", true, 0, 5)
	holds("at the start", old)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o007 != 0 {
		t.Errorf("others read it: %v, %v", info.Mode(), err)
	}
	k.Observe(transition("calm", "acknowledged", false, 0))
	if k.begin(k.changed) {
		t.Error("an alarm that holds nothing is written")
	}
	on := transition("a", "unacknowledged", true, 1)
	k.Observe(on)
	holds("a trip", entry("a", true, 0, 5), old)
	k.Journalled(on, []int64{2, 6})
	holds("it is recorded", entry("a", true, 6, 5), old)
	off := transition("a", "normal", false, 2)
	k.Observe(off)
	k.Journalled(on, []int64{2, 6}) // told twice
	holds("a reset", entry("a", false, 0, 6), old)
	k.Journalled(off, []int64{0, 0}) // no disk
	holds("not recorded", entry("a", false, 0, 6), old)
	k.Journalled(off, []int64{3, 7})
	holds("it is recorded", old)
	// A late answer of the recording speaks of one word alone: an alarm of the same
	// state at another time, or of another state at the same time, is not it.
	first := transition("b", "unacknowledged", true, 3)
	k.Observe(first)
	k.Observe(transition("b", "unacknowledged", true, 4))
	k.Journalled(first, []int64{0, 8})
	holds("an earlier word of the same state", entry("b", true, 0, 7), old)
	k.Observe(transition("b", "acknowledged", true, 3))
	k.Journalled(first, []int64{0, 8})
	holds("another state of the same time", entry("b", true, 0, 8), old)
	last := transition("b", "acknowledged", false, 5)
	k.Observe(last)
	k.Journalled(last, []int64{0, 9})
	k.Recording("B", 1)
	holds("another recording", entry("old", true, 0, 1))
	if m, _ := Read(path); m.Recording != "B" || m.Newest != 1 {
		t.Errorf("%+v", m)
	}
}

// TestKeeperIsNeverWaitedFor lets the disk hang: nobody waits, the newest state
// is written when it answers, and until then somebody hears of it.
func TestKeeperIsNeverWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := keep("permit.json")
		answer, wrote := make(chan error), []Memory{}
		k.put = func(_ string, m Memory) error { wrote = append(wrote, m); return <-answer }
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- k.Run(ctx) }()
		synctest.Wait()
		for i := range 5 {
			k.Observe(transition("a", "unacknowledged", true, time.Duration(i)))
		}
		k.Observe(transition("b", "unacknowledged", true, 0))
		if err := k.Healthy(); err != nil {
			t.Error("at once:", err)
		}
		time.Sleep(hangLimit)
		if err := k.Healthy(); err == nil || !strings.Contains(err.Error(), "has not answered") {
			t.Error("after a second:", err)
		}
		if err := k.Kept(); err == nil || !strings.Contains(err.Error(), "a is kept nowhere") {
			t.Error(err)
		}
		answer <- nil
		synctest.Wait()
		answer <- errors.New("no space left")
		synctest.Wait()
		if err := k.Healthy(); err == nil || !strings.Contains(err.Error(), "no space left") || k.Failed() != 1 {
			t.Errorf("%v, %d failed", err, k.Failed())
		}
		time.Sleep(retryEvery)
		synctest.Wait()
		answer <- nil
		synctest.Wait()
		if err := errors.Join(k.Healthy(), k.Kept()); err != nil || len(wrote) != 3 || len(wrote[2].Alarms) != 2 {
			t.Errorf("%v, wrote %+v", err, wrote)
		}
		k.Observe(transition("c", "unacknowledged", true, 0))
		synctest.Wait()
		answer <- errors.New("no space left")
		stop()
		synctest.Wait()
		answer <- nil
		if err := <-done; err != nil || len(wrote) != 5 {
			t.Errorf("at the end: %v after %d writes", err, len(wrote))
		}
	})
}

// TestWhatIsInTheRecordingIsKept though the file cannot be written.
func TestWhatIsInTheRecordingIsKept(t *testing.T) {
	k := keep("permit.json")
	k.put = func(string, Memory) error { return errors.New("read-only") }
	trip := transition("a", "unacknowledged", true, 0)
	k.Observe(trip)
	if k.save() == nil || k.Kept() == nil {
		t.Error("a trip that is nowhere is kept")
	}
	k.Journalled(trip, []int64{0, 6})
	if err := k.Kept(); err != nil {
		t.Error(err)
	}
}

// TestReadRefusesHalfAFile: the file is whole or it is none.
func TestReadRefusesHalfAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "permit.json")
	if _, err := Read(path); !errors.Is(err, fs.ErrNotExist) {
		t.Error("a missing file:", err)
	}
	for _, text := range []string{"", "{}", `{"recording":"A","newest":3`, "null"} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if m, err := Read(path); err == nil || errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%q: %+v, %v", text, m, err)
		}
	}
}

// What a crash left beside the file is in nobody's way, and a link there leads nothing
// of ours elsewhere. Where a directory is in the way the error says what to do.
func TestALeftoverOfACrashIsReplaced(t *testing.T) {
	dir := t.TempDir()
	other := filepath.Join(dir, "other")
	if err := os.WriteFile(other, []byte("theirs"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, leave := range map[string]func(part string) error{
		"half a file": func(part string) error { return os.WriteFile(part, []byte("{"), 0o644) },
		"a link":      func(part string) error { return os.Symlink(other, part) },
	} {
		path := filepath.Join(dir, name+".json")
		if err := leave(path + ".part"); err != nil {
			t.Fatal(err)
		}
		if err := keep(path, saved("a", true, 0)).save(); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		m, err := Read(path)
		if err != nil || len(m.Alarms) != 1 || m.Alarms[0].Name != "a" {
			t.Errorf("%s: %+v, %v", name, m, err)
		}
		if info, err := os.Lstat(path); err != nil || info.Mode().Perm() != 0o600 || !info.Mode().IsRegular() {
			t.Errorf("%s: %v, %v", name, info.Mode(), err)
		}
	}
	if text, err := os.ReadFile(other); err != nil || string(text) != "theirs" {
		t.Errorf("the file that the link led to: %q, %v", text, err)
	}
	path := filepath.Join(dir, "full.json")
	if err := os.MkdirAll(filepath.Join(path+".part", "in use"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := keep(path, saved("a", true, 0)).save(); err == nil || !strings.Contains(err.Error(), "name a tokens_file in another directory") {
		t.Errorf("a directory in the way: %v", err)
	}
}
