package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/table"
)

// Export names what to hand over, and in which form.
type Export struct {
	What string    // one of Exported
	From time.Time // zero: from the beginning
	To   time.Time // zero: to the end; itself not included
	Form table.Form
}

const samples = "samples"

// Exported are the words for what can be handed over.
func Exported() []string {
	words := []string{samples}
	for i := range kinds {
		words = append(words, kinds[i].export)
	}
	return words
}

// kindOf finds a kind of event by its word.
func kindOf(what string) *kind {
	for i := range kinds {
		if kinds[i].export == what {
			return &kinds[i]
		}
	}
	return nil
}

// Plan checks what can be checked without the recording: an error is of the person's.
func (e *Export) Plan() (*table.Plan, error) {
	if !e.From.IsZero() && !e.To.IsZero() && !e.From.Before(e.To) {
		return nil, errors.New("export: --to is not after --from: no time lies between them")
	}
	columns := sampleColumns()
	if e.What != samples {
		k := kindOf(e.What)
		if k == nil {
			return nil, fmt.Errorf("export %q: write one of %s", e.What, strings.Join(Exported(), ", "))
		}
		columns = k.exportColumns()
	}
	p, err := e.Form.Plan(columns)
	if err != nil {
		return nil, fmt.Errorf("export: %w", err)
	}
	return p, nil
}

// Export writes the records in the order of recording and counts them. No text reaches
// a terminal or a spreadsheet as a command.
func (r *Reader) Export(ctx context.Context, w io.Writer, e Export) (count int, err error) {
	p, err := e.Plan()
	if err != nil {
		return 0, err
	}
	return p.Write(w, r.exportRows(ctx, &e))
}

func (r *Reader) exportRows(ctx context.Context, e *Export) iter.Seq2[table.Row, error] {
	k := kindOf(e.What)
	if k == nil {
		return converted(r.rows(ctx, r.db, "export", span{from: e.From, to: e.To}), r.sampleRow)
	}
	end, arguments := e.between()
	return converted(r.shown(ctx, r.db, k, "export", end, arguments...), func(w *eventRow) (table.Row, error) {
		return table.Row{Values: k.exportValues(w), Object: func() []byte { return w.Message(r.recording, w.sequence).Body }}, nil
	})
}

func converted[T any](rows iter.Seq2[T, error], convert func(T) (table.Row, error)) iter.Seq2[table.Row, error] {
	return func(yield func(table.Row, error) bool) {
		for row, err := range rows {
			var out table.Row
			if err == nil {
				out, err = convert(row)
			}
			if !yield(out, err) || err != nil {
				return
			}
		}
	}
}

// between is the end of a query for the records of that time.
func (e *Export) between() (end string, arguments []any) {
	end = " WHERE true"
	if !e.From.IsZero() {
		end, arguments = end+" AND time >= ?", append(arguments, daq.FormatTime(e.From))
	}
	if !e.To.IsZero() {
		end, arguments = end+" AND time < ?", append(arguments, daq.FormatTime(e.To))
	}
	return end + " ORDER BY sequence", arguments
}

// SpanOf is the time of the oldest record and of the newest; zero where there is none.
func (r *Reader) SpanOf(ctx context.Context, what string) (first, last time.Time, err error) {
	k := kindOf(what)
	if k == nil {
		return r.spanOfRows(ctx)
	}
	if len(r.have[k.table]) == 0 { // a recording of before the kind
		return first, last, nil
	}
	err = r.db.QueryRowContext(ctx, `SELECT min(time), max(time) FROM `+k.table).Scan(&stamp{to: &first}, &stamp{to: &last})
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return first, last, explain(r.path, "export: span", err)
	}
	return first, last, nil
}

func (r *Reader) sampleRow(w *row) (table.Row, error) {
	values := []any{w.sequence, w.time, w.synchronised}
	for id := range quantity.Count {
		values = append(values, figureValue(&w.values, id))
	}
	return table.Row{Values: append(values, w.quality, w.configuration), Object: func() []byte { return r.appendRow(nil, w) }}, nil
}
