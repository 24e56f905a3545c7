package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Pending gives the next messages of a class behind a sequence, in order, at
// most limit. The body is made from the row: there is no second copy of it.
func (r *Reader) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	return r.messages(ctx, r.db, class, ` WHERE sequence > ? ORDER BY sequence LIMIT ?`, after, limit)
}

// messages reads what the end of a query selects from a class.
func (r *Reader) messages(ctx context.Context, db *sql.DB, class daq.Class, end string, arguments ...any) ([]daq.Message, error) {
	var query string
	var scan func(*sql.Rows) (daq.Message, error)
	switch class {
	case daq.ClassRecord:
		query, scan = `SELECT `+r.rowColumns()+` FROM sample`, r.rowMessage
	case daq.ClassAlarm:
		query, scan = `SELECT `+r.alarmColumns()+` FROM alarm_event`, r.alarmMessage
	case daq.ClassEvent:
		query, scan = `SELECT `+noteColumns+` FROM note`, r.noteMessage
	default:
		return nil, fmt.Errorf("outbox: class %q is not one of record, alarm, event", class)
	}
	rows, err := db.QueryContext(ctx, query+end, arguments...)
	if err != nil {
		return nil, explain(r.path, "outbox", err)
	}
	defer rows.Close()
	var out []daq.Message
	for rows.Next() {
		m, err := scan(rows)
		if err != nil {
			return nil, explain(r.path, "outbox", err)
		}
		m.Class = class
		out = append(out, m)
	}
	return out, rows.Err()
}

// Marked is how far a destination has a class; 0 when it has nothing yet.
func (r *Recorder) Marked(destination string, class daq.Class) (int64, error) {
	stored, err := r.Reader.Marked(destination, class)
	return max(stored, r.queue.newestMark(markKey{destination, class})), err
}

// Marked is how far a destination has a class by what is on disk.
func (r *Reader) Marked(destination string, class daq.Class) (int64, error) {
	var n int64
	err := r.db.QueryRow(`SELECT coalesce(max(sequence), 0) FROM mark WHERE destination = ? AND class = ?`, destination, string(class)).Scan(&n)
	if err != nil {
		return 0, explain(r.path, "mark", err)
	}
	return n, nil
}

// row is one recorded row.
type row struct {
	sequence      int64
	time          string
	synchronised  bool
	configuration string
	quality       string
	values        quantity.Set
}

func (r *Reader) rowColumns() string {
	columns := "sequence, time, clock_synchronised, configuration, quality"
	for id := range quantity.Count {
		columns += ", " + r.column(id)
	}
	return columns
}

// column is the quantity's column, or NULL where this recording lacks it.
func (r *Reader) column(id quantity.ID) string {
	if !r.have[id.Name()] {
		return "NULL"
	}
	return id.Name()
}

func scanRow(rows *sql.Rows) (*row, error) {
	w := &row{}
	var cells [quantity.Count]any
	to := []any{&w.sequence, &w.time, &w.synchronised, &w.configuration, &w.quality}
	for id := range cells {
		to = append(to, &cells[id])
	}
	if err := rows.Scan(to...); err != nil {
		return nil, err
	}
	for id, cell := range cells {
		putCell(&w.values, quantity.ID(id), cell)
	}
	return w, nil
}

// putCell is the reverse of Set.Column. What does not fit is unknown.
func putCell(s *quantity.Set, id quantity.ID, cell any) {
	switch v := cell.(type) {
	case float64:
		s.Put(id, v)
	case int64:
		s.Put(id, float64(v))
	case string:
		if band, ok := quantity.ParseBand(v); ok && quantity.Table[id].Kind == quantity.Word {
			s.Put(id, float64(band))
		}
	}
}

// appendRow appends the JSON object of a row: the message of class record and
// the JSON export.
func (r *Reader) appendRow(b []byte, w *row) []byte {
	b = append(b, `{"recording":`...)
	b = strconv.AppendQuote(b, r.recording)
	b = append(b, `,"sequence":`...)
	b = strconv.AppendInt(b, w.sequence, 10)
	b = append(b, `,"time":`...)
	b = strconv.AppendQuote(b, w.time)
	b = append(b, `,"clock_synchronised":`...)
	b = strconv.AppendBool(b, w.synchronised)
	b = append(b, `,"configuration":`...)
	b = strconv.AppendQuote(b, w.configuration)
	b = append(b, `,"quality":`...)
	b = appendObject(b, w.quality)
	b = append(b, ',')
	b = w.values.AppendFields(b)
	return append(b, '}')
}

// appendObject passes a stored JSON object through, and null for anything else.
func appendObject(b []byte, text string) []byte {
	if !json.Valid([]byte(text)) {
		return append(b, "null"...)
	}
	return append(b, text...)
}

func (r *Reader) rowMessage(rows *sql.Rows) (daq.Message, error) {
	w, err := scanRow(rows)
	if err != nil {
		return daq.Message{}, err
	}
	return daq.Message{Sequence: w.sequence, Body: r.appendRow(nil, w)}, nil
}

func (r *Reader) alarmMessage(rows *sql.Rows) (daq.Message, error) {
	a, err := scanAlarm(rows)
	if err != nil {
		return daq.Message{}, err
	}
	return r.message(&a.AlarmEvent, a.sequence), nil
}

// message is the message of a recorded alarm.
func (r *Reader) message(a *daq.AlarmEvent, sequence int64) daq.Message {
	body := daq.AppendAlarm(nil, a, r.recording, daq.Receipt{Recorded: true, Sequence: sequence})
	return daq.Message{Class: daq.ClassAlarm, Sequence: sequence, Name: a.Name, Body: body}
}

const noteColumns = `sequence, time, kind, who, text`

func scanNote(rows *sql.Rows) (sequence int64, n daq.Note, err error) {
	var at string
	if err = rows.Scan(&sequence, &at, &n.Kind, &n.Who, &n.Text); err != nil {
		return 0, n, err
	}
	n.Time, err = time.Parse(time.RFC3339Nano, at)
	return sequence, n, err
}

func (r *Reader) noteMessage(rows *sql.Rows) (daq.Message, error) {
	sequence, n, err := scanNote(rows)
	if err != nil {
		return daq.Message{}, err
	}
	body := daq.AppendNote(nil, &n, r.recording, daq.Receipt{Recorded: true, Sequence: sequence})
	return daq.Message{Sequence: sequence, Body: body}, nil
}
