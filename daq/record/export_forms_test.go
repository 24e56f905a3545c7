package record

import (
	"encoding/csv"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"flowrigd/daq/table"
)

// weighed takes what is written, and looks now and then at what the program keeps.
type weighed struct {
	bytes, looked int
	most          uint64
}

func (w *weighed) Write(b []byte) (int, error) {
	if w.bytes += len(b); w.bytes > w.looked+8<<20 {
		w.looked = w.bytes
		w.most = max(w.most, kept())
	}
	return len(b), nil
}

func kept() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestExportKeepsLittle: what is handed over is many times what is ever kept of it.
func TestExportKeepsLittle(t *testing.T) {
	rows := 24000
	if testing.Short() { // the race detector keeps memory of its own: what is kept is judged without it
		rows = 1200
	}
	dir := t.TempDir()
	shut(t, open(t, dir, Options{}))
	db, err := openWriter(databasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`INSERT INTO note(sequence, time, kind, who, text, clock_synchronised)
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?)
		SELECT i, '2031-05-06T07:08:09.123456Z', 'other', '', hex(randomblob(1000)), 1 FROM n`, rows); err != nil {
		t.Fatal(err)
	}
	r, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for _, format := range []string{"csv", "jsonl", "parquet"} {
		before, w := kept(), &weighed{}
		n, err := r.Export(t.Context(), w, Export{What: "notes", Form: table.Form{Format: format}})
		if err != nil || n != rows {
			t.Fatal(format, n, err)
		}
		if !testing.Short() && (w.bytes < 40<<20 || w.most > before+24<<20 || w.most == 0) {
			t.Errorf("%s: of %d MB it keeps %d MB", format, w.bytes>>20, (int64(w.most)-int64(before))>>20)
		}
	}
}

// TestExportTakesEveryKind: what a kind of event exports has a type that fits its values,
// and each form is written of it.
func TestExportTakesEveryKind(t *testing.T) {
	r := recordTen(t)
	for _, what := range Exported() {
		for _, format := range table.Formats {
			if out := exported(t, r.Reader, Export{What: what, Form: table.Form{Format: format, Bench: true}}); out == "" && format != "jsonl" {
				t.Errorf("%s as %s is empty", what, format)
			}
		}
	}
	for i := range kinds {
		k := &kinds[i]
		w := eventRow{Event: k.blank()}
		for j, v := range k.exportValues(&w) {
			c := k.exportColumns()[j]
			fits := false
			switch v.(type) {
			case nil:
				fits = true
			case int64:
				fits = c.Kind == table.Integer
			case float64:
				fits = c.Kind == table.Number
			case bool:
				fits = c.Kind == table.Truth
			case string:
				fits = c.Kind == table.Text
			default:
				fits = c.Kind == table.Moment
			}
			if !fits {
				t.Errorf("%s: %s: %T is no %d", k.export, c.Name, v, c.Kind)
			}
		}
	}
}

// TestColumnsOfSamples: by name or short name; the numbers of the recording to the last
// digit, or in the units of the bench.
func TestColumnsOfSamples(t *testing.T) {
	r := recordTen(t)
	from := func(f table.Form) []string {
		lines, err := csv.NewReader(strings.NewReader(exported(t, r.Reader, Export{What: samples, Form: f}))).ReadAll()
		if err != nil || len(lines) != 11 {
			t.Fatal(lines, err)
		}
		return append(lines[0], lines[3]...)
	}
	if got := from(table.Form{Columns: []string{"steady", "reynolds_number", "level"}, Bench: true}); strings.Join(got, " ") != "steady reynolds_number level_millimeters false 3 " {
		t.Errorf("%q", got)
	}
	for _, c := range sampleColumns() {
		if c.Help == "" {
			t.Error(strconv.Quote(c.Name) + " is described by nothing")
		}
	}
}
