package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// row is one recorded row.
type row struct {
	sequence      int64
	time          time.Time
	synchronised  bool
	configuration string
	quality       string
	values        quantity.Set
}

// fields are the columns of a table of rows. Texts are read by textOf.
func (w *row) fields() []field {
	list := []field{
		{"sequence", "INTEGER PRIMARY KEY", &w.sequence},
		{"time", "INTEGER NOT NULL", (*moment)(&w.time)},
		{"clock_synchronised", "INTEGER NOT NULL", &w.synchronised},
		{"configuration", "INTEGER NOT NULL", &w.configuration},
		{"quality", "", &w.quality},
	}
	for id := range quantity.Count {
		list = append(list, field{id.Name(), "", &figure{&w.values, id}})
	}
	return list
}

func scanRow(rows *sql.Rows) (*row, error) {
	w := &row{}
	return w, rows.Scan(places(w.fields())...)
}

// span says which rows: those behind a sequence, up to another, and from one time to another, the
// second left out. Zero bounds nothing.
type span struct {
	after    int64
	upTo     int64
	from, to time.Time
	limit    int
}

// where is the condition of a table of rows.
func (s span) where(table string) (condition string, arguments []any) {
	at := func(t time.Time) any {
		if table == rowTable {
			return t.UnixMicro()
		}
		return daq.FormatTime(t)
	}
	condition = " WHERE true"
	column, part := "time", ""
	if table == rowTable {
		part = timePart
	}
	if s.after != 0 {
		condition, arguments = condition+" AND sequence > ?", append(arguments, s.after)
		column, part = "+time", "" // found by sequence: few are behind it, and many may be of that time
	}
	if s.upTo != 0 {
		condition, arguments = condition+" AND sequence <= ?", append(arguments, s.upTo)
	}
	if !s.from.IsZero() {
		condition, arguments = condition+" AND "+column+" >= ?", append(arguments, at(s.from))
	}
	if !s.to.IsZero() {
		condition, arguments = condition+" AND "+column+" < ?", append(arguments, at(s.to))
	}
	if part != "" && !s.from.IsZero() {
		condition, arguments = condition+" AND "+part+" >= ?", append(arguments, s.from.UnixMicro()/partLength)
	}
	if part != "" && !s.to.IsZero() {
		condition, arguments = condition+" AND "+part+" <= ?", append(arguments, s.to.UnixMicro()/partLength)
	}
	return condition, arguments
}

// findRows finds the tables that hold rows: sample of schema 1, else sample_row and,
// while they are being moved there, those of schema 1.
func (r *Reader) findRows() error {
	for _, table := range []string{"sample", oldRows, rowTable} {
		kind := ""
		err := r.db.QueryRow(`SELECT type FROM sqlite_schema WHERE name = ?`, table).Scan(&kind)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if kind != "table" {
			continue
		}
		r.tables = append(r.tables, table)
		if r.have[table], err = columnsOf(r.db, table); err != nil {
			return err
		}
	}
	if r.tables == nil {
		return errors.New("it has no table of rows")
	}
	return r.db.QueryRow(`SELECT count(*) FROM sqlite_schema WHERE name = 'sample_row_time' AND instr(sql, ?)`, timePart).Scan(&r.parted)
}

// rows reads rows in the order of recording.
func (r *Reader) rows(ctx context.Context, db *sql.DB, operation string, s span) iter.Seq2[*row, error] {
	var from []string
	var arguments []any
	for _, table := range r.tables {
		where, more := s.where(table)
		from = append(from, "SELECT "+r.rowColumns(table)+" FROM "+table+where)
		arguments = append(arguments, more...)
	}
	query := strings.Join(from, " UNION ALL ") + " ORDER BY sequence"
	if s.limit > 0 {
		query, arguments = query+" LIMIT ?", append(arguments, s.limit)
	}
	return explained(r.path, operation, rowsOf(ctx, db, scanRow, query, arguments...))
}

// rowColumns are the columns that scanRow takes.
func (r *Reader) rowColumns(table string) string {
	list := strings.Split(selected((&row{}).fields(), r.have[table]), ", ")
	for i, name := range list {
		if name == `"configuration"` || name == `"quality"` {
			list[i] = textOf(name, table)
		}
	}
	list[0] += " AS sequence"
	return strings.Join(list, ", ")
}

// endRow is the time of the first row by order of recording (ASC) or of the last (DESC);
// zero without one.
func (r *Reader) endRow(ctx context.Context, db *sql.DB, order string) (at time.Time, err error) {
	var from []string
	for _, table := range r.tables {
		from = append(from, fmt.Sprintf(`SELECT * FROM (SELECT sequence, time FROM %s ORDER BY sequence %s LIMIT 1)`, table, order))
	}
	var sequence int64
	err = db.QueryRowContext(ctx, strings.Join(from, " UNION ALL ")+` ORDER BY 1 `+order+` LIMIT 1`).Scan(&sequence, (*moment)(&at))
	if errors.Is(err, sql.ErrNoRows) {
		return at, nil
	}
	return at, err
}

// spanOfRows is the time of the oldest row and of the newest; zero without one.
func (r *Reader) spanOfRows(ctx context.Context) (first, last time.Time, err error) {
	for _, table := range r.tables {
		var a, b time.Time
		if err := r.db.QueryRowContext(ctx, r.endsOf(table)).Scan((*moment)(&a), (*moment)(&b)); err != nil {
			return first, last, explain(r.path, "export: span", err)
		}
		if !a.IsZero() && (first.IsZero() || a.Before(first)) {
			first = a
		}
		if b.After(last) {
			last = b
		}
	}
	return first, last, nil
}

// endsOf asks for the least time of a table of rows and the greatest, by the index that it has.
func (r *Reader) endsOf(table string) string {
	end := `(SELECT %[1]s(time) FROM %[2]s)`
	if r.parted && table == rowTable {
		end = `(SELECT %[1]s(time) FROM %[2]s WHERE %[3]s = (SELECT %[1]s(%[3]s) FROM %[2]s))`
	}
	return `SELECT ` + fmt.Sprintf(end, "min", table, timePart) + `, ` + fmt.Sprintf(end, "max", table, timePart)
}
