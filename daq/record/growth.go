package record

import (
	"database/sql"
	"math"
	"path/filepath"
	"time"

	"flowrigd/daq"
)

// Growth is judged over the last growthOver of the rig's time, and not before
// growthLeast of it has passed: inputs are packed in blocks, and pages come in lumps.
const (
	growthEvery = 30 * time.Minute
	growthLeast = 30 * time.Minute
	growthOver  = 24 * time.Hour
)

// growth is how the bytes in use came to be what they are.
type growth struct {
	points []grown // the oldest first, growthEvery apart
	last   grown
}

type grown struct {
	mono time.Duration
	used int64
}

// note takes down what is in use now.
func (g *growth) note(mono time.Duration, used int64) {
	if mono < g.last.mono {
		*g = growth{}
	}
	g.last = grown{mono, used}
	if n := len(g.points); n == 0 || mono-g.points[n-1].mono >= growthEvery {
		g.points = append(g.points, g.last)
	}
	for len(g.points) > 1 && mono-g.points[0].mono > growthOver {
		g.points = g.points[1:]
	}
}

// perDay is in bytes; NaN while too little has passed.
func (g *growth) perDay() float64 {
	first := g.points[0]
	over := g.last.mono - first.mono
	if over < growthLeast {
		return math.NaN()
	}
	return float64(g.last.used-first.used) / over.Hours() * 24
}

// pages is what the database has: bytes in use, and bytes in all.
func pages(tx *sql.Tx) (used, all int64, err error) {
	var size, count, free int64
	err = tx.QueryRow(`SELECT page_size, page_count, freelist_count FROM pragma_page_size, pragma_page_count, pragma_freelist_count`).Scan(&size, &count, &free)
	return (count - free) * size, count * size, err
}

// occupied tells readers what the purge has found.
func (w *writer) occupied() {
	if len(w.purge.growth.points) == 0 {
		return
	}
	r := w.purge.retention
	keep := max(r.Keep, r.KeepInputs)
	if r.Keep <= 0 || r.KeepInputs <= 0 {
		keep = 0
	}
	free, err := diskFree(filepath.Dir(w.path))
	if err != nil {
		free = -1
	}
	w.r.occupancy.Store(&daq.Occupancy{Used: w.purge.growth.last.used, MaxSize: r.MaxSize, DiskFree: free, PerDay: w.purge.growth.perDay(), Keep: keep})
}

// Occupancy is the room that the recording takes; false before the first look, a
// minute after the start at the latest.
func (r *Recorder) Occupancy() (daq.Occupancy, bool) {
	o := r.occupancy.Load()
	if o == nil {
		return daq.Occupancy{}, false
	}
	return *o, true
}

// Occupancy is that of the recording which is open; false without one.
func (j *Journal) Occupancy() (daq.Occupancy, bool) {
	if rec := j.open.Load(); rec != nil {
		return rec.Occupancy()
	}
	return daq.Occupancy{}, false
}
