package record

import (
	"database/sql"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// Rows of a time are found by an index and are the same ones, in recordings as they are
// made now and in those of before, which have an index of times.
func TestRowsAreFoundByTime(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	wanderingRows(r, 0, 400, rand.New(rand.NewPCG(3, 4)))
	waitRow(t, r, 400)
	shut(t, r)
	for _, before := range []bool{false, true} {
		if before {
			execute(t, dir, `DROP INDEX sample_row_time; CREATE INDEX sample_row_time ON sample_row(time)`)
			shut(t, open(t, dir, Options{})) // which leaves it as it is
		}
		read, err := OpenReader(databasePath(dir))
		if err != nil {
			t.Fatal(err)
		}
		if read.parted == before {
			t.Fatalf("with the index of before %v it is read by parts %v", before, read.parted)
		}
		holdFound(t, read)
		if err := read.Close(); err != nil {
			t.Error(err)
		}
	}
}

func holdFound(t *testing.T, r *Reader) {
	t.Helper()
	random := rand.New(rand.NewPCG(5, 6))
	for range 50 {
		from := start.Add(time.Duration(random.Int64N(int64(5 * time.Hour)))).Truncate(time.Microsecond)
		to := from.Add(time.Duration(random.Int64N(int64(20 * time.Minute)))).Truncate(time.Microsecond)
		where, arguments := span{from: from, to: to}.where(rowTable)
		holdPlan(t, r.db, `SELECT sequence FROM `+rowTable+where+` ORDER BY sequence`, arguments...)
		got, err := list(rowsOf(t.Context(), r.db, scanNumber, `SELECT sequence FROM `+rowTable+where+` ORDER BY sequence`, arguments...))
		if err != nil {
			t.Fatal(err)
		}
		want, err := list(rowsOf(t.Context(), r.db, scanNumber, `SELECT sequence FROM `+rowTable+` WHERE +time >= ? AND +time < ? ORDER BY sequence`, from.UnixMicro(), to.UnixMicro()))
		if err != nil || len(got) != len(want) || len(got) > 0 && (got[0] != want[0] || got[len(got)-1] != want[len(want)-1]) {
			t.Fatalf("from %v to %v rows %v, want %v, %v", from, to, got, want, err)
		}
	}
	holdPlan(t, r.db, r.endsOf(rowTable))
	var low, high time.Time
	if err := r.db.QueryRow(`SELECT min(+time), max(+time) FROM `+rowTable).Scan((*moment)(&low), (*moment)(&high)); err != nil {
		t.Fatal(err)
	}
	first, last, err := r.SpanOf(t.Context(), samples)
	if err != nil || !first.Equal(low) || !last.Equal(high) {
		t.Errorf("from %v to %v, want %v to %v, %v", first, last, low, high, err)
	}
}

func scanNumber(rows *sql.Rows) (n int64, err error) {
	err = rows.Scan(&n)
	return n, err
}

// holdPlan holds that SQLite finds rows by the index of their time and reads no table whole.
func holdPlan(t *testing.T, db querier, query string, arguments ...any) {
	t.Helper()
	plan, err := list(rowsOf(t.Context(), db, scanPlan, `EXPLAIN QUERY PLAN `+query, arguments...))
	text := strings.Join(plan, "; ")
	if err != nil || !strings.Contains(text, "INDEX sample_row_time") || strings.Contains(text, "SCAN "+rowTable) {
		t.Errorf("%s: %s, %v", query, text, err)
	}
}

func scanPlan(rows *sql.Rows) (text string, err error) {
	var id, parent, unused int
	err = rows.Scan(&id, &parent, &unused, &text)
	return text, err
}
