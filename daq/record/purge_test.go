package record

import (
	"database/sql"
	"fmt"
	"testing"
	"time"

	"flowrigd/daq"
)

// clock makes inputs of a run whose wall clock does as it is told.
type clock struct {
	in daq.Input
}

func (c *clock) after(mono time.Duration, wall time.Duration, synchronised bool) daq.Input {
	c.in.Number++
	c.in.Kind = daq.KindTick
	c.in.Mono += mono
	if c.in.Wall.IsZero() {
		c.in.Wall = start
	}
	c.in.Wall = c.in.Wall.Add(wall)
	c.in.Synchronised = synchronised
	return c.in
}

func TestClockMustEarnTrust(t *testing.T) {
	const year = 365 * 24 * time.Hour
	for _, c := range []struct {
		name string
		run  func(*purger, *clock)
		want bool
	}{
		{"no input yet", func(p *purger, c *clock) {}, false},
		{"young", func(p *purger, c *clock) { steps(p, c, time.Hour-time.Second, true) }, false},
		{"proven", func(p *purger, c *clock) { steps(p, c, time.Hour, true) }, true},
		{"never synchronised", func(p *purger, c *clock) { steps(p, c, 10*time.Hour, false) }, false},
		{"not now", func(p *purger, c *clock) { steps(p, c, 2*time.Hour, true); p.observe(c.after(1, 1, false)) }, false},
		{"jumped forward", func(p *purger, c *clock) { steps(p, c, 2*time.Hour, true); p.observe(c.after(1, year, true)) }, false},
		{"jumped back", func(p *purger, c *clock) { steps(p, c, 2*time.Hour, true); p.observe(c.after(1, -year, true)) }, false},
		{"slept without a step", func(p *purger, c *clock) {
			steps(p, c, 2*time.Hour, true)
			p.observe(c.after(time.Minute, time.Minute, true))
		}, true},
		{"proven again", func(p *purger, c *clock) {
			steps(p, c, 2*time.Hour, true)
			p.observe(c.after(1, year, true))
			steps(p, c, time.Hour, true)
		}, true},
		{"a new run", func(p *purger, c *clock) {
			steps(p, c, 2*time.Hour, true)
			in := c.after(1, 1, true)
			in.Kind = daq.KindStart
			p.observe(in)
		}, false},
	} {
		p := purger{}
		c.run(&p, &clock{})
		if now, ok := p.now(); ok != c.want || (ok && !now.Equal(p.last.Wall)) {
			t.Errorf("%s: %v %v", c.name, now, ok)
		}
	}
}

// steps lets a second pass at a time, on both clocks.
func steps(p *purger, c *clock, span time.Duration, synchronised bool) {
	p.observe(c.after(0, 0, synchronised))
	for range span / time.Second {
		p.observe(c.after(time.Second, time.Second, synchronised))
	}
}

// aged records a day of rows, inputs, notes and alarms, one each minute, and
// gives the database to purge.
func aged(t *testing.T) *sql.DB {
	t.Helper()
	dir := t.TempDir()
	r := open(t, dir, Options{})
	for n := 1; n <= 1440; n++ {
		at := start.Add(time.Duration(n) * time.Minute)
		b := tick(n)
		b.Input.Wall, b.State.Time = at, at
		name := "busy"
		if n == 1 {
			name = "quiet" // its only transition: out of service since then
		}
		a := raise(name, fmt.Sprint(n), 0)
		a.Alarm.Time = at
		b.Events = []daq.Event{a, {Note: &daq.Note{Kind: "note", Time: at}}}
		if n == 1 {
			b.Events = append(b.Events, results()...)
		}
		b.Digest = fmt.Sprint(n)
		if n%60 == 59 {
			b.Checkpoint = []byte("the state")
		}
		r.Put(b)
	}
	r.Mark("broker", daq.ClassAlarm, 1000)
	shut(t, r)
	db, err := openWriter(databasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// purgeAll steps until there is nothing more to do.
func purgeAll(t *testing.T, db *sql.DB, p *purger) (steps int) {
	t.Helper()
	for more := true; more; steps++ {
		tx, err := db.Begin()
		if err != nil {
			t.Fatal(err)
		}
		if more, err = p.step(tx); err != nil {
			t.Fatal(err)
		}
		if err := tx.Commit(); err != nil {
			t.Fatal(err)
		}
		if steps > 1000 {
			t.Fatal("never done")
		}
	}
	return steps
}

func count(t *testing.T, db *sql.DB, query string) (n int) {
	t.Helper()
	if err := db.QueryRow(query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// trusted is a purger whose clock stands at the end of the day that aged records.
func trusted(h Retention) *purger {
	p := purger{retention: h}
	p.known, p.last = true, daq.Input{Wall: start.Add(24 * time.Hour), Mono: 2 * clockProbation}
	return &p
}

func TestPurgeByAge(t *testing.T) {
	db := aged(t)
	purgeAll(t, db, trusted(Retention{Keep: 2 * time.Hour, KeepInputs: time.Hour}))
	for _, c := range []struct {
		query string
		want  int
	}{
		{`SELECT count(*) FROM input`, 61},                                 // 23:00 to 24:00, both ends
		{`SELECT count(*) FROM digest`, 61},                                // no more than can be held against an input
		{`SELECT min(number) FROM checkpoint`, 1379},                       // right before the oldest input
		{`SELECT count(*) FROM checkpoint`, 2},                             //
		{`SELECT count(*) FROM sample`, 121},                               // 22:00 to 24:00
		{`SELECT min(sequence) FROM sample`, 1320},                         // the oldest went
		{`SELECT count(*) FROM note`, 121},                                 //
		{`SELECT count(*) FROM alarm_event WHERE name = 'quiet'`, 1},       // an alarm's last state stays
		{`SELECT min(sequence) FROM alarm_event WHERE sequence > 1`, 1001}, // the broker waits for these
		{`SELECT count(*) FROM run`, 1},
	} {
		if got := count(t, db, c.query); got != c.want {
			t.Errorf("%s: %d, want %d", c.query, got, c.want)
		}
	}
}

func TestNothingIsPurged(t *testing.T) {
	db := aged(t)
	before := count(t, db, `SELECT (SELECT count(*) FROM input) + (SELECT count(*) FROM sample)`)
	doubtful := trusted(Retention{Keep: time.Second, KeepInputs: time.Second})
	doubtful.trusted = doubtful.last.Mono - clockProbation + 1
	for name, p := range map[string]*purger{
		"with a doubtful clock": doubtful,
		"with no limits":        trusted(Retention{}),
		"with generous limits":  trusted(Retention{Keep: 48 * time.Hour, KeepInputs: 48 * time.Hour, MaxSize: 1 << 30}),
	} {
		if steps := purgeAll(t, db, p); steps != 1 {
			t.Errorf("%s: %d steps", name, steps)
		}
		if got := count(t, db, `SELECT (SELECT count(*) FROM input) + (SELECT count(*) FROM sample)`); got != before {
			t.Errorf("%s: %d rows of %d left", name, got, before)
		}
	}
}

// By size the oldest inputs go first, then rows, then notes, and alarms last.
// That needs no clock.
func TestPurgeBySize(t *testing.T) {
	db := aged(t)
	used := func() int {
		return count(t, db, `SELECT (page_count - freelist_count) * page_size FROM pragma_page_count, pragma_freelist_count, pragma_page_size`)
	}
	full := used()
	p := purger{retention: Retention{MaxSize: int64(full) - 50_000}}
	purgeAll(t, db, &p)
	if inputs, rows := count(t, db, `SELECT count(*) FROM input`), count(t, db, `SELECT count(*) FROM sample`); inputs >= 1440 || inputs == 0 || rows != 1440 {
		t.Errorf("%d inputs and %d rows left", inputs, rows)
	}
	if _, err := db.Exec(`DELETE FROM input`); err != nil {
		t.Fatal(err)
	}
	limit := used() - 30_000
	p = purger{retention: Retention{MaxSize: int64(limit)}}
	purgeAll(t, db, &p)
	if got := used(); got > limit {
		t.Errorf("%d bytes in use, want at most %d", got, limit)
	}
	if got := count(t, db, `SELECT count(*) FROM alarm_event`); got != 1440 {
		t.Errorf("%d alarms left", got)
	}
	if rows, oldest := count(t, db, `SELECT count(*) FROM sample`), count(t, db, `SELECT coalesce(min(sequence), 0) FROM sample`); rows == 0 || oldest != 1441-rows {
		t.Errorf("%d rows left, oldest %d", rows, oldest)
	}
	if _, err := db.Exec(`DELETE FROM sample_row`); err != nil {
		t.Fatal(err)
	}
	for _, level := range levels {
		if _, err := db.Exec(`DELETE FROM ` + levelTable(level)); err != nil {
			t.Fatal(err)
		}
	}
	p = purger{retention: Retention{MaxSize: int64(used() - 20_000)}}
	purgeAll(t, db, &p)
	if notes, alarms := count(t, db, `SELECT count(*) FROM note`), count(t, db, `SELECT count(*) FROM alarm_event`); notes == 0 || notes == 1440 || alarms != 1440 {
		t.Errorf("%d notes and %d alarms left: notes were to go first, and not all", notes, alarms)
	}
	p = purger{retention: Retention{MaxSize: 1}}
	purgeAll(t, db, &p) // ends, though what may not go is more
	for _, k := range kinds[2:] {
		if got := count(t, db, `SELECT count(*) FROM `+k.table); got != 1 {
			t.Errorf("%s: %d left of 1, for no size is to forget it", k.table, got)
		}
	}
	if notes, alarms := count(t, db, `SELECT count(*) FROM note`), count(t, db, `SELECT count(*) FROM alarm_event`); notes != 0 || alarms != 441 {
		t.Errorf("%d notes and %d alarms left, want 441: the last of each and those that the broker waits for", notes, alarms)
	}
}
