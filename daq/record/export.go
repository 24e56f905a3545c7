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
	switch what {
	case "samples":
		return &sheet{sampleHeader(), `SELECT ` + r.rowColumns() + ` FROM sample`, r.sampleRecord}, nil
	case "alarms":
		return &sheet{alarmHeader, `SELECT ` + r.alarmColumns() + ` FROM alarm_event`, r.alarmRecord}, nil
	case "notes":
		return &sheet{[]string{"sequence", "time", "kind", "who", "text"}, `SELECT ` + noteColumns + ` FROM note`, r.noteRecord}, nil
	}
	return nil, fmt.Errorf("export: %q cannot be exported; name one of samples, alarms, notes", what)
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

var alarmHeader = []string{"sequence", "time", "name", "state", "priority", "value", "limit", "cause", "consequence", "action", "who", "until", "tripped", "clock_synchronised"}

func (r *Reader) alarmRecord(rows *sql.Rows) (string, []string, []byte, error) {
	a, err := scanAlarm(rows)
	if err != nil {
		return "", nil, nil, err
	}
	until := ""
	if !a.Until.IsZero() {
		until = daq.FormatTime(a.Until)
	}
	at := daq.FormatTime(a.Time)
	cells := []string{strconv.FormatInt(a.sequence, 10), at, textCell(a.Name), a.State, a.Priority, numberCell(a.Value), numberCell(a.Limit),
		textCell(a.Cause), textCell(a.Consequence), textCell(a.Action), textCell(a.Who), until, strconv.FormatBool(a.Tripped), strconv.FormatBool(a.synchronised)}
	return at, cells, daq.AppendAlarm(nil, &a.AlarmEvent, r.recording, daq.Receipt{Recorded: true, Sequence: a.sequence}), nil
}

func numberCell(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

func (r *Reader) noteRecord(rows *sql.Rows) (string, []string, []byte, error) {
	sequence, n, err := scanNote(rows)
	if err != nil {
		return "", nil, nil, err
	}
	at := daq.FormatTime(n.Time)
	cells := []string{strconv.FormatInt(sequence, 10), at, textCell(n.Kind), textCell(n.Who), textCell(n.Text)}
	return at, cells, daq.AppendNote(nil, &n, r.recording, daq.Receipt{Recorded: true, Sequence: sequence}), nil
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
