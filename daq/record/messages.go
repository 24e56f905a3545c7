package record

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"iter"
	"slices"
	"strconv"

	"flowrigd/daq"
)

// Pending gives the next messages of a class behind a sequence, in order, at
// most limit. The body is made from the row: there is no second copy of it.
func (r *Reader) Pending(ctx context.Context, class daq.Class, after int64, limit int) (out []daq.Message, err error) {
	const next = ` WHERE sequence > ? ORDER BY sequence LIMIT ?`
	if class == daq.ClassRecord {
		for w, err := range r.rows(ctx, r.db, "messages", span{after: after, limit: limit}) {
			if err != nil {
				return nil, err
			}
			out = append(out, daq.Message{Class: daq.ClassRecord, Sequence: w.sequence, Body: r.appendRow(nil, w)})
		}
		return out, nil
	}
	for i := range kinds {
		if kinds[i].class == class {
			more, err := r.messages(ctx, r.db, &kinds[i], next, after, limit)
			if err != nil {
				return nil, err
			}
			out = append(out, more...)
		}
	}
	slices.SortFunc(out, func(a, b daq.Message) int { return cmp.Compare(a.Sequence, b.Sequence) })
	return out[:min(limit, len(out))], nil
}

// events reads what the end of a query selects from the events of a kind; a recording of before has no table of a
// kind that came later, and so none of its events.
func (r *Reader) events(ctx context.Context, db *sql.DB, k *kind, operation, end string, arguments ...any) iter.Seq2[*eventRow, error] {
	if len(r.have[k.table]) == 0 {
		return func(func(*eventRow, error) bool) {}
	}
	return explained(r.path, operation, rowsOf(ctx, db, k.scan,
		`SELECT `+selected(k.columns(), r.have[k.table])+` FROM `+k.table+end, arguments...))
}

func (r *Reader) messages(ctx context.Context, db *sql.DB, k *kind, end string, arguments ...any) (out []daq.Message, err error) {
	return r.messagesOf(r.events(ctx, db, k, "messages", end, arguments...))
}

func (r *Reader) messagesOf(events iter.Seq2[*eventRow, error]) (out []daq.Message, err error) {
	for w, err := range events {
		if err != nil {
			return nil, err
		}
		out = append(out, w.Message(r.recording, w.sequence))
	}
	return out, nil
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

// appendRow appends the JSON object of a row: the message of class record and
// the JSON export.
func (r *Reader) appendRow(b []byte, w *row) []byte {
	b = append(b, `{"recording":`...)
	b = strconv.AppendQuote(b, r.recording)
	b = append(b, `,"sequence":`...)
	b = strconv.AppendInt(b, w.sequence, 10)
	b = append(b, `,"time":`...)
	b = strconv.AppendQuote(b, daq.FormatTime(w.time))
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
