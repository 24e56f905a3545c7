package record

import (
	"math"
	"testing"
	"time"
)

// TestGrowthIsOfTheLastDay: nothing is said before half an hour has passed, a start
// begins anew, and what grew the day before yesterday does not count.
func TestGrowthIsOfTheLastDay(t *testing.T) {
	g := growth{}
	g.note(5*time.Hour, 100)
	g.note(5*time.Hour+growthLeast-1, 200)
	if v := g.perDay(); !math.IsNaN(v) {
		t.Errorf("%v a day after less than half an hour", v)
	}
	g.note(6*time.Hour, 1100)
	if v := g.perDay(); v != 24000 {
		t.Errorf("%v a day, want 24000 for 1000 in an hour", v)
	}
	g.note(time.Minute, 1100)
	if v := g.perDay(); !math.IsNaN(v) || len(g.points) != 1 {
		t.Errorf("%v a day of a run that has just begun", v)
	}
	used := int64(0)
	for at := time.Duration(0); at < 72*time.Hour; at += time.Minute {
		used += 1000
		if at >= 40*time.Hour {
			used -= 990
		}
		g.note(at, used)
	}
	if v := g.perDay(); math.Abs(v-10*24*60) > 1 || len(g.points) > 50 {
		t.Errorf("%v a day, want 14400 of the last day; %d points are kept", v, len(g.points))
	}
}

// TestOccupancyIsTold of a real database: what is in use is what SQLite counts, and
// the disk has something left.
func TestOccupancyIsTold(t *testing.T) {
	dir := t.TempDir()
	r, err := Open(dir, Options{Retention: Retention{MaxSize: 1e9, Keep: time.Hour}, packing: packing{every: 10 * time.Millisecond, soon: time.Millisecond}})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close(t.Context())
	deadline := time.Now().Add(20 * time.Second)
	for {
		o, known := r.Occupancy()
		if known {
			var size int64
			if err := r.db.QueryRow(`SELECT page_size * (page_count - freelist_count) FROM pragma_page_size, pragma_page_count, pragma_freelist_count`).Scan(&size); err != nil {
				t.Fatal(err)
			}
			if o.Used != size || o.MaxSize != 1e9 || o.DiskFree <= 0 || o.Keep != 0 || !math.IsNaN(o.PerDay) {
				t.Errorf("%+v, want %d bytes in use", o, size)
			}
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("nothing is told of the room that the recording takes")
		}
		time.Sleep(5 * time.Millisecond)
	}
}
