package record

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// Export names what to hand over.
type Export struct {
	What   string        // one of ExportWords
	From   time.Time     // zero: from the beginning
	To     time.Time     // zero: to the end; itself not included
	Every  time.Duration // zero: every row; else the first row of each stretch
	Format string        // csv (RFC 4180 with a header) or json (one array)
}

// cells are a record as CSV has it, the sequence and the time first; object gives it
// in JSON.
type cells struct {
	cells  []string
	object func() []byte
}

// Export writes the records in the order of recording. Unknown is an empty cell
// or null. No text reaches a terminal or a spreadsheet as a command: see
// textCell.
func (r *Reader) Export(ctx context.Context, w io.Writer, e Export) error {
	end, arguments := e.between()
	if e.What == "samples" {
		return export(w, e, sampleHeader(), r.rows(ctx, "export", end, arguments...), r.sampleCells)
	}
	for i := range kinds {
		if k := &kinds[i]; k.export == e.What {
			return export(w, e, k.header(), r.events(ctx, r.db, k, "export", end, arguments...), func(w *eventRow) cells {
				return cells{k.cells(w), func() []byte { return w.Message(r.recording, w.sequence).Body }}
			})
		}
	}
	return fmt.Errorf("export: %q cannot be exported; name one of %s", e.What, strings.Join(ExportWords(), ", "))
}

// ExportWords are what can be exported.
func ExportWords() []string {
	words := []string{"samples"}
	for i := range kinds {
		words = append(words, kinds[i].export)
	}
	return words
}

func export[T any](w io.Writer, e Export, header []string, rows iter.Seq2[T, error], of func(T) cells) error {
	out, err := newTable(w, e.Format, header)
	if err != nil {
		return err
	}
	pick := thinner{every: e.Every}
	for row, err := range rows {
		if err != nil {
			return err
		}
		c := of(row)
		if !pick.wants(c.cells[1]) {
			continue
		}
		if err := out.record(c); err != nil {
			return fmt.Errorf("export: write: %w", err)
		}
	}
	if err := out.end(); err != nil {
		return fmt.Errorf("export: write: %w", err)
	}
	return nil
}

func (k *kind) header() (names []string) {
	for _, f := range k.columns()[:k.exported] {
		names = append(names, f.name)
	}
	return names
}

func (k *kind) cells(w *eventRow) (cells []string) {
	for _, f := range k.fields(w)[:k.exported] {
		cells = append(cells, cell(f.at))
	}
	return cells
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

func (r *Reader) sampleCells(w *row) cells {
	list := []string{strconv.FormatInt(w.sequence, 10), w.time, strconv.FormatBool(w.synchronised)}
	for id := range quantity.Count {
		list = append(list, w.values.Cell(id))
	}
	return cells{append(list, textCell(w.quality), textCell(w.configuration)), func() []byte { return r.appendRow(nil, w) }}
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

func (t *table) record(c cells) error {
	if t.csv != nil {
		return t.csv.Write(c.cells)
	}
	separator := ",\n"
	if t.count == 0 {
		separator = "[\n"
	}
	t.count++
	if _, err := t.json.WriteString(separator); err != nil {
		return err
	}
	_, err := t.json.Write(visibleJSON(c.object()))
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
