package table

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"flowrigd/daq/daqtest"
)

// question has DuckDB, which is written in C++ and shares no code with this program,
// answer queries of the file that it is given.
const question = `
const [module, file, ...queries] = process.argv.slice(1)
const { DuckDBInstance } = require(module)
async function main() {
  const database = await DuckDBInstance.create(":memory:")
  const connection = await database.connect()
  await connection.run("SET TimeZone = 'UTC'")
  for (const query of queries) {
    const answer = await connection.runAndReadAll(query.replaceAll("FILE", "'" + file + "'"))
    for (const row of answer.getRowsJson()) console.log(row.join("|"))
  }
}
main().catch(e => { console.error(e.message); process.exit(1) })`

// TestDuckDBReadsTheParquet: another program reads types, order, values and what is
// unknown out of the file.
func TestDuckDBReadsTheParquet(t *testing.T) {
	node := daqtest.Program(t, "node", "nodejs")
	root, err := exec.Command(daqtest.Program(t, "npm", "npm"), "root", "-g").Output()
	if err != nil {
		t.Fatal(err)
	}
	module := filepath.Join(strings.TrimSpace(string(root)), "@duckdb", "node-api")
	_, err = os.Stat(module)
	daqtest.Require(t, "DuckDB (npm install -g @duckdb/node-api)", err == nil)
	file := filepath.Join(t.TempDir(), "x.parquet")
	if err := os.WriteFile(file, []byte(written(t, Form{Format: "parquet", Bench: true})), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(node, "-e", question, module, file,
		"SELECT string_agg(column_name || ' ' || column_type, ', ') FROM (DESCRIBE SELECT * FROM FILE)",
		"SELECT sequence, time::VARCHAR, flow_liters_per_minute, level_millimeters, steady, tank_celsius IS NULL, who FROM FILE ORDER BY sequence",
		"SELECT count(*), count(flow_liters_per_minute), count(tank_celsius), avg(level_millimeters) FROM FILE").CombinedOutput()
	want := "sequence BIGINT, time TIMESTAMP WITH TIME ZONE, flow_liters_per_minute DOUBLE, flow_liters_per_minute_uncertainty DOUBLE, " +
		"level_millimeters DOUBLE, steady BOOLEAN, tank_celsius DOUBLE, who VARCHAR\n" +
		"1|2031-05-06 07:08:09.123987+00|1.2|250.6|true|true|=1;2 \"x\"\n" +
		"2|2031-05-06 07:08:10.123987+00||-1500|false|false|a, b\nc\n" +
		"2|1|1|-624.7\n"
	if err != nil || string(out) != want {
		t.Errorf("%v:\n%s\nwant\n%s", err, out, want)
	}
}
