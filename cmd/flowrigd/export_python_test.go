//go:build unix

package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"flowrigd/daq/daqtest"
)

// pythonReads reads an export with Python's csv and json alone: the header is that of the
// description (CSV on the Web, W3C 2015), every cell is of the type that it states, or
// empty, and the key is its own in every line.
const pythonReads = `
import csv, datetime, json, sys
with open(sys.argv[1] + "-metadata.json", encoding="utf-8") as f:
    table = json.load(f)
columns = table["tableSchema"]["columns"]
def base(c):
    d = c.get("datatype", "string")
    return d if isinstance(d, str) else d.get("base", "string")
def parse(kind, cell):
    if kind in ("double", "number", "decimal", "float"): float(cell)
    elif kind in ("integer", "long", "int", "nonNegativeInteger"): int(cell)
    elif kind == "boolean": assert cell in ("true", "false", "1", "0"), cell
    elif kind in ("dateTime", "dateTimeStamp"): datetime.datetime.strptime(cell[:19], "%Y-%m-%dT%H:%M:%S")
    elif kind != "string": sys.exit("a type of which this reader knows nothing: " + kind)
with open(sys.argv[1], newline="", encoding="utf-8") as f:
    rows = csv.reader(f, strict=True)
    header = next(rows)
    assert header == [c["name"] for c in columns], (header, columns)
    n, keys, known = 0, set(), 0
    for row in rows:
        assert len(row) == len(header), row
        for cell, c in zip(row, columns):
            if cell: parse(base(c), cell); known += 1
        keys.add(row[header.index("sequence")])
        n += 1
assert len(keys) == n
print(n, len(header), known > 5 * n)
`

// TestPythonReadsAnExport: the CSV of each kind, and its description, as a reader that
// nobody here wrote takes them.
func TestPythonReadsAnExport(t *testing.T) {
	t.Parallel()
	python := daqtest.Program(t, "python3", "python3")
	p := newTape(t)
	p.run(1, tapedRig)
	p.end()
	for _, what := range []string{"samples", "alarms", "notes", "observations", "test-points", "collections"} {
		file := filepath.Join(t.TempDir(), what+".csv")
		if _, diag, code := call(t, program, "export", "--data", p.dir, "--out", file, what); code != exitDone {
			t.Fatalf("%s: %s", what, diag)
		}
		out, err := exec.Command(python, "-c", pythonReads, file).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v: %s", what, err, out)
			continue
		}
		t.Logf("%s: %s", what, strings.TrimSpace(string(out)))
		if what == "samples" && (strings.HasPrefix(string(out), "0 ") || !strings.HasSuffix(strings.TrimSpace(string(out)), "True")) {
			t.Errorf("samples: %s", out)
		}
	}
}
