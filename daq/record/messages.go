package record

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"strconv"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Pending gives the next messages of a class behind a sequence, in order, at
// most limit. The body is made from the row: there is no second copy of it.
func (r *Reader) Pending(ctx context.Context, class daq.Class, after int64, limit int) ([]daq.Message, error) {
	if class == daq.ClassRecord {
		return r.rowMessages(ctx, after, limit)
	}
	var out []daq.Message
	for i := range kinds {
		if kinds[i].class != class {
			continue
		}
		list, err := r.messages(ctx, r.db, &kinds[i], ` WHERE sequence > ? ORDER BY sequence LIMIT ?`, after, limit)
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
	}
	slices.SortFunc(out, func(a, b daq.Message) int { return cmp.Compare(a.Sequence, b.Sequence) })
	return out[:min(limit, len(out))], nil
}

// messages reads what the end of a query selects from the events of a kind.
func (r *Reader) messages(ctx context.Context, db *sql.DB, k *kind, end string, arguments ...any) (out []daq.Message, err error) {
	rows, err := db.QueryContext(ctx, k.query(r.have[k.table])+end, arguments...)
	if err != nil {
		return nil, explain(r.path, "messages", err)
	}
	defer rows.Close()
	for rows.Next() {
		w, err := k.scan(rows)
		if err != nil {
			return nil, explain(r.path, "messages", err)
		}
		out = append(out, w.Message(r.recording, w.sequence))
	}
	return out, rows.Err()
}

func (r *Reader) rowMessages(ctx context.Context, after int64, limit int) (out []daq.Message, err error) {
	rows, err := r.db.QueryContext(ctx, `SELECT `+r.rowColumns()+` FROM sample WHERE sequence > ? ORDER BY sequence LIMIT ?`, after, limit)
	if err != nil {
		return nil, explain(r.path, "messages", err)
	}
	defer rows.Close()
	for rows.Next() {
		w, err := scanRow(rows)
		if err != nil {
			return nil, explain(r.path, "messages", err)
		}
		out = append(out, daq.Message{Class: daq.ClassRecord, Sequence: w.sequence, Body: r.appendRow(nil, w)})
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
	if !r.have["sample"][id.Name()] {
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
