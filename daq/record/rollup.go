package record

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// levels are the spans of the roll-ups, in seconds: each a multiple of the one before and a
// part of a day. A trend of 600 buckets reads at most ten spans a bucket, or sixty rows of
// one a second; the finest costs a twelfth of the rows, the others together a tenth of it.
var levels = []int64{60, 600, 3600, 21600}

// rolledUp is the key of meta for the newest row, by sequence, that is in the roll-ups; all
// rows up to it are, and in every level.
const rolledUp = "rolled_up"

func levelTable(level int64) string { return "rollup_" + strconv.FormatInt(level, 10) }

// figuresOf are the columns of a quantity in a roll-up: what they are of the known values.
var figuresOf = [...]string{"_min", "_sum", "_max", "_count"}

// rollupFields are the columns of a level's table.
func rollupFields() []field {
	list := []field{
		{name: "begin", sql: "INTEGER PRIMARY KEY"}, // seconds since 1970 in UTC
		{name: "first_sequence", sql: "INTEGER NOT NULL"}, {name: "last_sequence", sql: "INTEGER NOT NULL"},
		{name: "row_count", sql: "INTEGER NOT NULL"},
	}
	for id := range quantity.Count {
		for _, figure := range figuresOf {
			if quantity.Table[id].Kind != quantity.Word {
				list = append(list, field{name: id.Name() + figure, sql: "REAL"})
			}
		}
	}
	return list
}

// insertRollup adds a span to what its level already has of that time, for a clock may
// come by the same minute twice.
func insertRollup(level int64) string {
	table, fields := levelTable(level), rollupFields()
	var set []string
	for _, f := range fields[1:] {
		join := "%[1]s + excluded.%[1]s"
		switch {
		case strings.HasSuffix(f.name, "_min") || f.name == "first_sequence":
			join = "min(%[1]s, excluded.%[1]s)"
		case strings.HasSuffix(f.name, "_max") || f.name == "last_sequence":
			join = "max(%[1]s, excluded.%[1]s)"
		}
		set = append(set, fmt.Sprintf("%[1]s = coalesce("+join+", %[1]s, excluded.%[1]s)", f.name))
	}
	return insert(table, fields) + " ON CONFLICT(begin) DO UPDATE SET " + strings.Join(set, ", ")
}

// sum adds numbers and loses next to nothing (Neumaier 1974, Z. angew. Math. Mech. 54, 39).
type sum struct{ value, rest float64 }

func (s *sum) add(v float64) {
	t := s.value + v
	if math.Abs(s.value) >= math.Abs(v) {
		s.rest += s.value - t + v
	} else {
		s.rest += v - t + s.value
	}
	s.value = t
}

func (s *sum) total() float64 { return s.value + s.rest }

// extent is what is known of some values.
type extent struct {
	min, max float64
	sum      sum
	count    int64
}

func (e *extent) add(low, sum, high float64, count int64) {
	if e.count == 0 || low < e.min {
		e.min = low
	}
	if e.count == 0 || high > e.max {
		e.max = high
	}
	e.sum.add(sum)
	e.count += count
}

// rollup is the minute that is under way, of the rows behind those that are in the
// roll-ups.
type rollup struct {
	minute      int64 // since 1970
	first, last int64 // sequences
	rows        int64
	of          [quantity.Count]extent
}

// add takes a row; where it begins another minute the one before is to be stored first.
func (u *rollup) add(w *row) {
	if u.rows == 0 {
		*u = rollup{minute: minuteOf(w.time), first: w.sequence}
	}
	u.last = w.sequence
	u.rows++
	for id := range quantity.Count {
		if v, known := w.values.Get(id); known {
			u.of[id].add(v, v, v, 1)
		}
	}
}

func minuteOf(t time.Time) int64 { return floorTo(t.Unix(), 60) / 60 }

// floorTo is the greatest multiple of a step that is not above n.
func floorTo(n, step int64) int64 { return n - ((n%step)+step)%step }

// values are a row of a level's table.
func (u *rollup) values(level int64) []any {
	list := []any{floorTo(u.minute*60, level), u.first, u.last, u.rows}
	for id := range quantity.Count {
		if quantity.Table[id].Kind == quantity.Word {
			continue
		}
		if e := &u.of[id]; e.count == 0 {
			list = append(list, nil, nil, nil, nil)
		} else {
			list = append(list, e.min, e.sum.total(), e.max, e.count)
		}
	}
	return list
}

// takeRow adds a row that is written in this transaction to the roll-ups.
func (u *rollup) takeRow(tx *sql.Tx, s *statements, w *row) error {
	if u.rows > 0 && minuteOf(w.time) != u.minute {
		if err := u.store(tx, s); err != nil {
			return fmt.Errorf("roll-up: %w", err)
		}
	}
	u.add(w)
	return nil
}

// store puts the minute into every level.
func (u *rollup) store(tx *sql.Tx, s *statements) error {
	for i, level := range levels {
		if _, err := tx.Stmt(s.rollups[i]).Exec(u.values(level)...); err != nil {
			return err
		}
	}
	_, err := tx.Exec(`INSERT OR REPLACE INTO meta VALUES (?, ?)`, rolledUp, strconv.FormatInt(u.last, 10))
	u.rows = 0
	return err
}

// catchUpRows is how many rows are taken into the roll-ups in one transaction.
const catchUpRows = 500

// catchUp takes rows that are in no roll-up: those since the last minute at a start, or all
// of a recording of before.
func (w *writer) catchUp(tx *sql.Tx) (more bool, err error) {
	u := w.rollup
	batch, err := list(rowsOf(context.Background(), tx, scanRow,
		`SELECT `+selected((&row{}).fields(), nil)+` FROM `+rowTable+` WHERE sequence > ? ORDER BY sequence LIMIT ?`, u.last, catchUpRows))
	if err != nil {
		return false, err
	}
	for _, row := range batch {
		if err := u.takeRow(tx, &w.statements, row); err != nil {
			return false, err
		}
	}
	w.caught = u // counts once it is on disk
	return len(batch) == catchUpRows, nil
}

// beginRollups goes on where the roll-ups end; where the levels do not fit together they
// are made anew.
func (w *writer) beginRollups() error {
	w.rollup, w.rolled = rollup{}, false
	defer func() { w.caught = w.rollup }()
	covered, fits, err := rollupsEnd(w.db)
	if err != nil {
		return err
	}
	if fits {
		w.rollup.last = covered
		return nil
	}
	clear := `DELETE FROM meta WHERE key = '` + rolledUp + `'`
	for _, level := range levels {
		clear += `; DELETE FROM ` + levelTable(level)
	}
	_, err = w.db.Exec(clear)
	return err
}

// rollupsEnd is the newest row that is in the roll-ups, and whether every level ends
// there.
func rollupsEnd(db querier) (covered int64, fits bool, err error) {
	ends := `SELECT (SELECT coalesce(max(CAST(value AS INTEGER)), 0) FROM meta WHERE key = '` + rolledUp + `'), (SELECT coalesce(max(newest), 0) FROM sequence WHERE class = 'record')`
	for _, level := range levels {
		ends += fmt.Sprintf(`, (SELECT coalesce(max(last_sequence), 0) FROM (SELECT last_sequence FROM %[1]s ORDER BY begin DESC LIMIT 10))`, levelTable(level))
	}
	at := make([]int64, 2+len(levels))
	to := make([]any, len(at))
	for i := range at {
		to[i] = &at[i]
	}
	if err := db.QueryRow(ends).Scan(to...); err != nil {
		return 0, false, err
	}
	fits = at[0] <= at[1]
	for _, end := range at[2:] {
		fits = fits && end <= at[0] && (end > 0) == (at[0] > 0)
	}
	return at[0], fits, nil
}
