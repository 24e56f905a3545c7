package record

import (
	"database/sql/driver"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// The rows stand in the table sample_row, as small as they go without losing a bit, and
// the view sample shows them by the words and forms of every interface:
//
//	time                     microseconds since 1970 in UTC
//	configuration, quality   the number of a text in sample_text; a quality that was
//	                         seen for one row alone is itself a text
//	numbers                  an integer is so many hundred-thousandths where that is the
//	                         number to the last bit, else it is the number
//	regime                   its place in regimeWords
const (
	rowTable = "sample_row"
	oldRows  = "sample_before" // rows of schema 1 that are still to be moved
	parts    = 100000          // of 1, in which a decimal number is stored
)

// Rows are found by the five minutes in which they lie, a number of three bytes until 2049
// where the time has eight; recordings of before have an index of times under the same name.
const (
	partLength = 300000000 // microseconds
	timePart   = "time / 300000000"
)

// regimeWords give the stored number of a regime; their order is that of recordings and
// never changes.
var regimeWords = []string{"unknown", "no-flow", "laminar", "transitional", "turbulent"}

// moment is a time in a table of rows: stored in microseconds, and of schema 1 a text.
type moment time.Time

// Value is what is stored.
func (m *moment) Value() (driver.Value, error) { return time.Time(*m).UnixMicro(), nil }

// Scan reads it back.
func (m *moment) Scan(from any) error {
	if us, ok := from.(int64); ok {
		*m = moment(time.UnixMicro(us).UTC())
		return nil
	}
	return (&stamp{to: (*time.Time)(m)}).Scan(from)
}

// figure is a quantity of a set, in a table of rows.
type figure struct {
	set *quantity.Set
	id  quantity.ID
}

// Value is what is stored.
func (f *figure) Value() (driver.Value, error) {
	switch v := f.set.Column(f.id).(type) {
	case float64:
		return lean(v), nil
	case string:
		return int64(slices.Index(regimeWords, v)), nil
	default:
		return v, nil
	}
}

// lean is a number as an integer of parts where that loses nothing.
func lean(v float64) any {
	n := math.Round(v * parts)
	if math.Abs(n) < math.MaxInt32 && n/parts == v && (n != 0 || !math.Signbit(v)) {
		return int64(n)
	}
	return v
}

// Scan reads it back. What does not fit is unknown.
func (f *figure) Scan(from any) error {
	switch v := from.(type) {
	case float64:
		f.set.Put(f.id, v)
	case int64:
		f.scanInteger(v)
	case string:
		f.scanWord(v)
	}
	return nil
}

func (f *figure) scanInteger(v int64) {
	switch quantity.Table[f.id].Kind {
	case quantity.Number:
		f.set.Put(f.id, float64(v)/parts)
	case quantity.Boolean:
		f.set.Put(f.id, float64(v))
	case quantity.Word:
		if v >= 0 && v < int64(len(regimeWords)) {
			f.scanWord(regimeWords[v])
		}
	}
}

func (f *figure) scanWord(word string) {
	if band, ok := quantity.ParseBand(word); ok && quantity.Table[f.id].Kind == quantity.Word {
		f.set.Put(f.id, float64(band))
	}
}

// shown is the expression by which a column of sample_row is what every interface says.
func shown(name string) string {
	id, ok := quantity.ByName(name)
	switch {
	case name == "time":
		return `strftime('%Y-%m-%dT%H:%M:%S', time / 1000000, 'unixepoch') || printf('.%06dZ', time % 1000000)`
	case name == "configuration" || name == "quality":
		return textOf(name, rowTable)
	case ok && quantity.Table[id].Kind == quantity.Number:
		return numberShown(name)
	case ok && quantity.Table[id].Kind == quantity.Word:
		return regimeShown(name)
	}
	return `"` + name + `"`
}

// textOf is the text that a column of a table of rows has or names.
func textOf(name, table string) string {
	if table != rowTable {
		return name
	}
	return fmt.Sprintf(`coalesce((SELECT text FROM sample_text WHERE number = %[1]s), %[1]s)`, name)
}

func numberShown(name string) string {
	return fmt.Sprintf(`CASE typeof("%[1]s") WHEN 'integer' THEN "%[1]s" / %[2]d.0 ELSE "%[1]s" END`, name, parts)
}

func regimeShown(name string) string {
	var cases strings.Builder
	for i, word := range regimeWords {
		fmt.Fprintf(&cases, " WHEN %d THEN '%s'", i, word)
	}
	return `CASE "` + name + `"` + cases.String() + ` END`
}
