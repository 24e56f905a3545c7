package record

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Export names what to hand over.
type Export struct {
	What   string        // samples, alarms or notes
	From   time.Time     // zero: from the beginning
	To     time.Time     // zero: to the end; itself not included
	Every  time.Duration // zero: every row; else the first row of each stretch
	Format string        // csv (RFC 4180 with a header) or json (one array)
}

// sheet is one kind of export: its columns, and how a record of it is read.
type sheet struct {
	columns []string
	query   string
	read    func(*sql.Rows) (at string, cells []string, object []byte, err error)
}

// Export writes the records in the order of recording. Unknown is an empty cell
// or null. No text reaches a terminal or a spreadsheet as a command: see
// textCell.
func (r *Reader) Export(ctx context.Context, w io.Writer, e Export) error {
	s, err := r.sheet(e.What)
	if err != nil {
		return err
	}
	out, err := newTable(w, e.Format, s.columns)
	if err != nil {
		return err
	}
	query, arguments := s.between(e.From, e.To)
	rows, err := r.db.QueryContext(ctx, query, arguments...)
	if err != nil {
		return explain(r.path, "export", err)
	}
	defer rows.Close()
	pick := thinner{every: e.Every}
	for rows.Next() {
		at, cells, object, err := s.read(rows)
		if err != nil {
			return explain(r.path, "export", err)
		}
		if !pick.wants(at) {
			continue
		}
		if err := out.record(cells, object); err != nil {
			return fmt.Errorf("export: write: %w", err)
		}
	}
	if err := rows.Err(); err != nil {
		return explain(r.path, "export", err)
	}
	if err := out.end(); err != nil {
		return fmt.Errorf("export: write: %w", err)
	}
	return nil
}

func (r *Reader) sheet(what string) (*sheet, error) {
	if what == "samples" {
		return &sheet{sampleHeader(), `SELECT ` + r.rowColumns() + ` FROM sample`, r.sampleRecord}, nil
	}
	words := "samples"
	for i := range kinds {
		if k := &kinds[i]; k.export == what {
			return &sheet{k.columns[:k.exported], k.query(r.have[k.table]), func(rows *sql.Rows) (string, []string, []byte, error) { return r.eventRecord(k, rows) }}, nil
		}
		words += ", " + kinds[i].export
	}
	return nil, fmt.Errorf("export: %q cannot be exported; name one of %s", what, words)
}

func (r *Reader) eventRecord(k *kind, rows *sql.Rows) (string, []string, []byte, error) {
	w, err := k.scan(rows)
	if err != nil {
		return "", nil, nil, err
	}
	at := daq.FormatTime(w.at)
	return at, append([]string{strconv.FormatInt(w.sequence, 10), at}, k.cells(&w)...), w.Message(r.recording, w.sequence).Body, nil
}

func (s *sheet) between(from, to time.Time) (query string, arguments []any) {
	where := []string{}
	if !from.IsZero() {
		where, arguments = append(where, "time >= ?"), append(arguments, daq.FormatTime(from))
	}
	if !to.IsZero() {
		where, arguments = append(where, "time < ?"), append(arguments, daq.FormatTime(to))
	}
	query = s.query
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	return query + " ORDER BY sequence", arguments
}

// thinner takes the first record of each stretch of time.
type thinner struct {
	every time.Duration
	last  time.Time // the stretch of the last one taken
}

func (p *thinner) wants(at string) bool {
	if p.every <= 0 {
		return true
	}
	t, err := time.Parse(time.RFC3339Nano, at)
	if err != nil {
		return true
	}
	stretch := t.Truncate(p.every)
	if stretch.Equal(p.last) {
		return false
	}
	p.last = stretch
	return true
}

func sampleHeader() []string {
	header := []string{"sequence", "time", "clock_synchronised"}
	for id := range quantity.Count {
		header = append(header, id.Name())
	}
	return append(header, "quality", "configuration")
}

func (r *Reader) sampleRecord(rows *sql.Rows) (string, []string, []byte, error) {
	w, err := scanRow(rows)
	if err != nil {
		return "", nil, nil, err
	}
	cells := []string{strconv.FormatInt(w.sequence, 10), w.time, strconv.FormatBool(w.synchronised)}
	for id := range quantity.Count {
		cells = append(cells, w.values.Cell(id))
	}
	return w.time, append(cells, textCell(w.quality), textCell(w.configuration)), r.appendRow(nil, w), nil
}

func numberCell(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

// table writes either format.
type table struct {
	csv   *csv.Writer // nil for JSON
	json  *bufio.Writer
	count int
}

func newTable(w io.Writer, format string, columns []string) (*table, error) {
	switch format {
	case "csv", "":
		c := csv.NewWriter(w)
		return &table{csv: c}, c.Write(columns)
	case "json":
		return &table{json: bufio.NewWriter(w)}, nil
	}
	return nil, fmt.Errorf("export: format %q: name csv or json", format)
}

func (t *table) record(cells []string, object []byte) error {
	if t.csv != nil {
		return t.csv.Write(cells)
	}
	separator := ",\n"
	if t.count == 0 {
		separator = "[\n"
	}
	t.count++
	if _, err := t.json.WriteString(separator); err != nil {
		return err
	}
	_, err := t.json.Write(visibleJSON(object))
	return err
}

func (t *table) end() error {
	if t.csv != nil {
		t.csv.Flush()
		return t.csv.Error()
	}
	end := "\n]\n"
	if t.count == 0 {
		end = "[]\n"
	}
	if _, err := t.json.WriteString(end); err != nil {
		return err
	}
	return t.json.Flush()
}
