package record

import (
	"encoding/csv"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/table"
)

// TestAnotherLanguageReadsParquet: of every kind the Parquet file, read by a reader in
// JavaScript, says what the CSV says: names and order of the columns, every number to its
// last digit, every microsecond, and unknown where a cell is empty.
func TestAnotherLanguageReadsParquet(t *testing.T) {
	t.Parallel()
	r := recordTen(t)
	tell(t, r, append(results(), daq.Event{Note: &daq.Note{Kind: "other", Time: start.Add(time.Microsecond), Who: "Ångström", Text: "21 °C, said \"so\",\nthen π"}})...)
	var files []string
	for _, what := range Exported() {
		files = append(files, filepath.Join(t.TempDir(), what+".parquet"))
		if _, err := r.ExportTo(t.Context(), files[len(files)-1], Export{What: what, Form: table.Form{Format: "parquet"}}); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	read := daqtest.ReadParquet(t, files...)
	for n, what := range Exported() {
		lines, err := csv.NewReader(strings.NewReader(exported(t, r.Reader, Export{What: what}))).ReadAll()
		if err != nil || len(lines) < 2 {
			t.Fatalf("%s: %d lines, %v", what, len(lines), err)
		}
		sameAsCSV(t, what, read[n], lines)
	}
}

func sameAsCSV(t *testing.T, what string, p daqtest.Parquet, lines [][]string) {
	t.Helper()
	if len(p.Rows) != len(lines)-1 || len(p.Columns) != len(lines[0]) {
		t.Fatalf("%s: %d rows of %d columns, CSV has %d of %d", what, len(p.Rows), len(p.Columns), len(lines)-1, len(lines[0]))
	}
	for j, c := range p.Columns {
		if c.Name != lines[0][j] {
			t.Errorf("%s: column %d is %q, CSV has %q", what, j, c.Name, lines[0][j])
		}
		for i, row := range p.Rows {
			if got, want := asCSV(c.Type, row[j]), lines[i+1][j]; got != want {
				t.Errorf("%s: row %d: %s is %q, CSV has %q", what, i, c.Name, got, want)
			}
		}
	}
}

// asCSV writes a value that was read from Parquet as the CSV does.
func asCSV(kind string, v any) string {
	switch v := v.(type) {
	case bool:
		return strconv.FormatBool(v)
	case float64:
		if v != 0 && math.Abs(v) < 1e-6 {
			return strconv.FormatFloat(v, 'e', -1, 64)
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	case string:
		if kind != "TIMESTAMP" {
			return v
		}
		us, err := strconv.ParseInt(v, 10, 64)
		if err != nil {
			return err.Error()
		}
		return daq.FormatTime(time.UnixMicro(us))
	}
	return ""
}
