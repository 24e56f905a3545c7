package daqtest

import (
	"encoding/json"
	"os"
	"os/exec"
	"testing"
)

// nodeReads reads Apache Parquet files with hyparquet, a reader in JavaScript of which
// no line is shared with the program's own library, and prints them as JSON. Times stay
// whole microseconds: JavaScript's own Date has no more than milliseconds.
const nodeReads = `
import { pathToFileURL } from "node:url"
const [module, ...names] = process.argv.slice(1)
const { asyncBufferFromFile, parquetMetadataAsync, parquetReadObjects } = await import(pathToFileURL(module + "/src/node.js"))
const cell = v => v === undefined ? null : typeof v === "bigint" || typeof v === "number" && !Number.isFinite(v) ? String(v) : v
const read = async name => {
  const file = await asyncBufferFromFile(name)
  const metadata = await parquetMetadataAsync(file)
  const rows = await parquetReadObjects({ file, metadata, parsers: { timestampFromMicroseconds: String } })
  const columns = metadata.schema.slice(1).map(c => ({
    name: c.name,
    type: c.logical_type?.type ?? c.type,
    unit: c.logical_type?.unit ?? "",
    utc: c.logical_type?.isAdjustedToUTC ?? false,
    optional: c.repetition_type === "OPTIONAL",
  }))
  const told = Object.fromEntries(metadata.key_value_metadata.map(p => [p.key, p.value]))
  return { columns, told, groups: metadata.row_groups.length, rows: rows.map(row => columns.map(c => cell(row[c.name]))) }
}
console.log(JSON.stringify(await Promise.all(names.map(read))))
`

// Parquet is a file as that reader has it.
type Parquet struct {
	Columns []struct {
		Name, Type, Unit string
		UTC, Optional    bool
	}
	Told   map[string]string // the file's keys
	Groups int
	Rows   [][]any // nil, bool, float64, or text: strings, integers and microseconds
}

// ReadParquet reads files in another language.
func ReadParquet(t testing.TB, files ...string) (list []Parquet) {
	t.Helper()
	module := NodeModule(t, "hyparquet")
	cmd := exec.Command(Program(t, "node", "nodejs"), append([]string{"--input-type=module", "-e", nodeReads, "--"}, append([]string{module}, files...)...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%q: read by hyparquet: %v", files, err)
	}
	if err := json.Unmarshal(out, &list); err != nil {
		t.Fatalf("%q: read by hyparquet: %v: %.400s", files, err, out)
	}
	return list
}
