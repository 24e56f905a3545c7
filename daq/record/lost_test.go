package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// TestALostDatabaseTellsNothingAsRecorded removes or replaces each file of a
// database in use. What is put then is given back and not told; what was told
// before stands in the database, wherever that is now.
func TestALostDatabaseTellsNothingAsRecorded(t *testing.T) {
	move := func(name string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			if err := os.Rename(filepath.Join(dir, name), filepath.Join(dir, "moved-"+name)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct {
		name string
		do   func(*testing.T, string)
		at   string // where the database is afterwards; "" for nowhere
	}{
		{"moved", move(FileName), "moved-" + FileName},
		{"removed with its directory", func(t *testing.T, dir string) {
			if err := os.RemoveAll(dir); err != nil {
				t.Fatal(err)
			}
		}, ""},
		{"replaced", func(t *testing.T, dir string) {
			move(FileName)(t, dir)
			write(t, databasePath(dir), "")
		}, "moved-" + FileName},
		{"its log removed", func(t *testing.T, dir string) {
			if err := os.Remove(databasePath(dir) + "-wal"); err != nil {
				t.Fatal(err)
			}
		}, FileName},
		{"the log's index moved", move(FileName + "-shm"), FileName},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "record")
			r := open(t, dir, Options{Journalled: func(events []daq.Event, list []int64) {
				if events[0].Alarm.State != "before" {
					t.Errorf("told as recorded: %v", list)
				}
			}})
			uuid := r.Recording()
			tell(t, r, raise("a", "before", 1))
			c.do(t, dir)
			late := tick(2)
			late.Events = []daq.Event{raise("a", "after", 2)}
			r.Put(late)
			select {
			case <-r.Lost():
			case <-time.After(patience):
				t.Fatal("nobody notices")
			}
			if ok, _, why := r.Healthy(); ok || !strings.Contains(why, "removed or replaced") {
				t.Errorf("healthy %v: %s", ok, why)
			}
			if back := r.takeBack(); len(back) != 1 || len(back[0].Events) != 1 || back[0].Input.Number != late.Input.Number {
				t.Errorf("given back: %+v", back)
			}
			if r.Put(tick(3)) {
				t.Error("takes more")
			}
			<-r.done
			if c.at == "" {
				return
			}
			other := t.TempDir()
			if err := os.Rename(filepath.Join(dir, c.at), databasePath(other)); err != nil {
				t.Fatal(err)
			}
			again := open(t, other, Options{}) // alone, without a log
			if list, err := again.Pending(t.Context(), daq.ClassAlarm, 0, 9); err != nil || len(list) < 1 || !strings.Contains(string(list[0].Body), `"before"`) || again.Recording() != uuid {
				t.Errorf("what was told before: %+v, %v", list, err)
			}
		})
	}
}

// TestAnIdleDatabaseIsLookedAfter: nothing is written, and its loss is seen; and that
// of its lock, without which another process would write beside this one.
func TestAnIdleDatabaseIsLookedAfter(t *testing.T) {
	t.Parallel()
	for _, name := range []string{FileName, lockName} {
		dir := t.TempDir()
		r := open(t, dir, Options{})
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		select {
		case <-r.Lost():
		case <-time.After(patience):
			t.Error("nobody notices that it is gone:", name)
		}
	}
}
