// Package table writes what export hands over in the formats that other programs open.
//
//	rows → the columns and units asked for → CSV, JSON, JSON lines or Parquet
//
// Beside a CSV stands its description as the W3C has it for tables on the web. It
// knows no database, no file and no clock.
package table

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"flowrigd/config"
)

// Kind is what the values of a column are.
type Kind uint8

// The kinds, with the types of their values.
const (
	Text    Kind = iota // string
	Integer             // int64
	Number              // float64
	Truth               // bool
	Moment              // time.Time
)

// Column is one column.
type Column struct {
	Name  string // as every machine interface has it
	Short string // without its unit; "" where it has no other name
	Kind  Kind
	Help  string // one sentence; "" where there is none
}

// Row is one row.
type Row struct {
	Values []any         // one for each column, nil: unknown; the second is the time
	Object func() []byte // the whole of it as MQTT has it, in JSON
}

// Form says in which form to write.
type Form struct {
	Format    string // csv, json, jsonl or parquet; "": csv
	Columns   []string
	Bench     bool           // in the units of the bench
	Every     time.Duration  // the first row of each stretch; zero: every row
	Separator string         // of CSV; "": a comma
	Decimal   string         // of CSV; "": a point
	Zone      *time.Location // of CSV; nil: RFC 3339 in UTC
}

// SetColumns takes the names of the columns as a flag has them, with commas between.
func (f *Form) SetColumns(text string) error {
	f.Columns = strings.Split(text, ",")
	return nil
}

// SetUnits takes the word of a flag: bench, or si.
func (f *Form) SetUnits(text string) error {
	if f.Bench = text == "bench"; !f.Bench && text != "si" {
		return errors.New("write bench, or si")
	}
	return nil
}

// SetZone takes the name of a time zone.
func (f *Form) SetZone(text string) (err error) {
	f.Zone, err = config.ParseZone(text)
	return err
}

// Formats are the words of Form.Format.
var Formats = []string{"csv", "json", "jsonl", "parquet"}

// Separators are the words of Form.Separator.
var Separators = []string{",", ";", "|", "tab"}

// Plan is a form that fits the columns.
type Plan struct {
	form    Form
	columns []chosen
}

// chosen is a column to write.
type chosen struct {
	Column
	at     int     // in the row
	unit   string  // by the Unified Code for Units of Measure; "" without one
	factor float64 // of the unit asked for; 1 leaves the number as it is
}

// Plan checks a form. The error says what to write instead.
func (f Form) Plan(columns []Column) (*Plan, error) {
	f.Format, f.Separator, f.Decimal = cmp.Or(f.Format, "csv"), cmp.Or(f.Separator, ","), cmp.Or(f.Decimal, ".")
	switch {
	case !slices.Contains(Formats, f.Format):
		return nil, fmt.Errorf("--format %q: write one of %s", f.Format, strings.Join(Formats, ", "))
	case !slices.Contains(Separators, f.Separator):
		return nil, fmt.Errorf("--separator %q: write one of %s, in quotes", f.Separator, strings.Join(Separators, " "))
	case f.Decimal != "." && f.Decimal != ",":
		return nil, fmt.Errorf("--decimal %q: write \".\" or \",\"", f.Decimal)
	case f.Format != "csv" && (f.Separator != "," || f.Decimal != "." || f.Zone != nil):
		return nil, fmt.Errorf("--format %s: --separator, --decimal and --zone are for csv; leave them out", f.Format)
	case f.Decimal == f.Separator:
		return nil, fmt.Errorf("--decimal \",\": the comma stands between the cells already; add --separator \";\"")
	}
	p := &Plan{form: f}
	if err := p.choose(columns); err != nil {
		return nil, err
	}
	return p, nil
}

// choose takes the columns asked for, in that order; all where none is.
func (p *Plan) choose(columns []Column) error {
	all := make([]chosen, len(columns))
	for i := range columns {
		all[i] = p.inUnits(columns, i)
	}
	if p.form.Columns == nil {
		p.columns = all
		return nil
	}
	for _, name := range p.form.Columns {
		name = strings.TrimSpace(name)
		i := slices.IndexFunc(all, func(c chosen) bool {
			return name != "" && slices.Contains([]string{c.Name, columns[c.at].Name, c.Short}, name)
		})
		switch {
		case i < 0:
			return fmt.Errorf("--columns %q: no such column; %s", name, near(name, columns))
		case slices.ContainsFunc(p.columns, func(c chosen) bool { return c.at == i }):
			return fmt.Errorf("--columns %q: it is there twice; name each column once", name)
		}
		p.columns = append(p.columns, all[i])
	}
	return nil
}

// near names the columns that may be meant.
func near(name string, columns []Column) string {
	var names, like []string
	for _, c := range columns {
		names = append(names, c.Name)
		if c.Short != "" && c.Short != c.Name {
			names = append(names, c.Short)
		}
	}
	for _, n := range names {
		if len(name) > 2 && (strings.Contains(n, name) || strings.Contains(name, n)) {
			like = append(like, n)
		}
	}
	if like == nil {
		like = config.NearestOf(name, names, 4)
	}
	return "write one of " + strings.Join(like, ", ") + "; export without --columns shows all names"
}

func (p *Plan) inUnits(columns []Column, at int) chosen {
	c := columns[at]
	out := chosen{c, at, "", 1}
	code, name, bench, ok := config.NamedUnit(c.Name)
	if of, found := strings.CutSuffix(c.Name, "_uncertainty"); found && !ok {
		code, name, bench, ok = uncertaintyUnit(columns, of)
	}
	if c.Kind != Number || !ok {
		return out
	}
	if out.unit = code; p.form.Bench {
		out.Name, out.unit, out.factor = name, bench.Text, bench.Factor
	}
	return out
}

// uncertaintyUnit is that of the quantity, where the name of its uncertainty says none:
// collected_flow_uncertainty beside collected_flow_cubic_meters_per_second.
func uncertaintyUnit(columns []Column, of string) (code, name string, bench config.BenchUnit, ok bool) {
	for _, c := range columns {
		if code, name, bench, ok = config.NamedUnit(c.Name); ok && strings.HasPrefix(c.Name, of+"_") {
			return code, name + "_uncertainty", bench, true
		}
	}
	return "", "", bench, false
}

// number is a value in the unit asked for. Twelve digits of a converted one: what
// comes behind them is the conversion's own rounding.
func (c *chosen) number(v float64) float64 {
	if c.factor == 1 {
		return v
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v/c.factor, 'g', 12, 64), 64)
	return v
}

// value is what a row has in the column: nil for what is unknown and for no number.
func (c *chosen) value(r *Row) any {
	v, ok := r.Values[c.at].(float64)
	if !ok {
		return r.Values[c.at]
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return c.number(v)
}

// decimal writes a number: the shortest that reads back the same.
func decimal(v float64) string {
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	return strconv.FormatFloat(v, format, -1, 64)
}

// writer is a format.
type writer interface {
	row(*Row) error
	end() error
}

// Write writes rows as they come, keeps few of them, and counts what was written.
func (p *Plan) Write(w io.Writer, rows iter.Seq2[Row, error]) (count int, err error) {
	out, err := p.writer(w)
	if err != nil {
		return 0, fmt.Errorf("export: write: %w", err)
	}
	pick := thinner{every: p.form.Every}
	for r, err := range rows {
		if err != nil {
			return count, err
		}
		if !pick.wants(r.Values[1]) {
			continue
		}
		if err := out.row(&r); err != nil {
			return count, fmt.Errorf("export: write: %w", err)
		}
		count++
	}
	if err := out.end(); err != nil {
		return count, fmt.Errorf("export: write: %w", err)
	}
	return count, nil
}

func (p *Plan) writer(w io.Writer) (writer, error) {
	switch p.form.Format {
	case "json", "jsonl":
		return newJSON(w, p), nil
	case "parquet":
		return newParquet(w, p)
	}
	return newCSV(w, p)
}

// thinner takes the first row of each stretch of time.
type thinner struct {
	every time.Duration
	last  time.Time // the stretch of the last one taken
}

func (p *thinner) wants(at any) bool {
	t, ok := at.(time.Time)
	if p.every <= 0 || !ok {
		return true
	}
	stretch := t.Truncate(p.every)
	if stretch.Equal(p.last) {
		return false
	}
	p.last = stretch
	return true
}
