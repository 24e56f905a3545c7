package record

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/table"
)

var long = flag.Bool("long", false, "play the long forms")

// backToSchema1 makes a recording what it was with schema 1.
func backToSchema1(t *testing.T, dir string) {
	t.Helper()
	columns := []string{"sequence INTEGER PRIMARY KEY", "time TEXT NOT NULL", "clock_synchronised INTEGER NOT NULL", "configuration TEXT NOT NULL", "quality TEXT NOT NULL"}
	for id := range quantity.Count {
		columns = append(columns, `"`+id.Name()+`" `+map[quantity.Kind]string{quantity.Number: "REAL", quantity.Boolean: "INTEGER", quantity.Word: "TEXT"}[quantity.Table[id].Kind])
	}
	execute(t, dir, `CREATE TABLE old(`+strings.Join(columns, ", ")+`); INSERT INTO old SELECT * FROM sample; DROP VIEW sample;
		DROP TABLE sample_row; DROP TABLE sample_text; DROP TABLE column_description; ALTER TABLE old RENAME TO sample;
		CREATE INDEX sample_time ON sample(time); UPDATE meta SET value = '1' WHERE key = 'schema'`)
}

// readOf is all that others read of the rows.
func readOf(t *testing.T, r *Reader) string {
	t.Helper()
	var text strings.Builder
	for _, format := range []string{"jsonl", "csv"} {
		text.WriteString(exported(t, r, Export{What: samples, Form: table.Form{Format: format}}))
	}
	list, err := r.Pending(t.Context(), daq.ClassRecord, 0, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range list {
		text.Write(m.Body)
	}
	shas, err := r.Configurations(t.Context(), time.Unix(0, 0), endOfRows)
	if err != nil {
		t.Fatal(err)
	}
	return text.String() + strings.Join(shas, " ")
}

var endOfRows = time.Date(9000, 1, 1, 0, 0, 0, 0, time.UTC)

// variedRows records rows whose values are of every form, two configurations and
// qualities that come, stay and go.
func variedRows(t *testing.T, r *Recorder, n int) {
	t.Helper()
	random := rand.New(rand.NewPCG(1, 2))
	for i := range n {
		b := tick(i + 1)
		s := b.State
		s.Time = start.Add(time.Duration(i)*time.Second + time.Duration(random.IntN(1e9)))
		s.Instruments = []quantity.ID{quantity.Flow, quantity.Temperature}
		if i%100 > 90 || i%37 == 0 {
			s.Quality[quantity.Flow] = daq.Quality{Grade: daq.Bad, Why: "no answer"}
		}
		for id := range quantity.Count {
			switch random.IntN(5) {
			case 0:
				s.Values.Clear(id)
			case 1:
				s.Values.Put(id, float64(random.IntN(2)))
			case 2:
				s.Values.Put(id, float64(random.IntN(100000))/100*float64(1-2*random.IntN(2)))
			default:
				s.Values.Put(id, random.NormFloat64()*1e4)
			}
			if quantity.Table[id].Kind == quantity.Boolean {
				s.Values.Put(id, float64(random.IntN(2)))
			}
			if quantity.Table[id].Kind == quantity.Word {
				s.Values.Put(id, float64(random.IntN(len(quantity.Bands))))
			}
		}
		if i == n/2 {
			b.Input.Kind, b.Input.Start = daq.KindReload, &daq.Start{Configuration: "other"}
		}
		r.Put(b)
	}
	waitRow(t, r, int64(n))
}

// TestRowsOfSchema1: before their rows are moved, while they are and afterwards everybody
// reads the same of them, and the view shows what the table of schema 1 held.
func TestRowsOfSchema1(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{Start: &daq.Start{Configuration: "one"}})
	variedRows(t, r, 550)
	want := readOf(t, r.Reader)
	shut(t, r)
	backToSchema1(t, dir)
	old, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	if readOf(t, old) != want {
		t.Error("a reader finds something else in schema 1")
	}
	shown := dump(t, dir, "sample")
	old.Close()
	db, err := openWriter(databasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	w := &writer{db: db}
	if w.statements, err = prepareStatements(db); err != nil {
		t.Fatal(err)
	}
	defer w.statements.close()
	for step, more := 0, true; ; step++ {
		if dump(t, dir, "sample") != shown {
			t.Fatalf("after %d steps the view shows something else", step)
		}
		r, err := OpenReader(dir)
		if err != nil {
			t.Fatal(err)
		}
		if readOf(t, r) != want {
			t.Fatalf("after %d steps a reader finds something else", step)
		}
		r.Close()
		if !more {
			break
		}
		tx, err := db.Begin()
		if err != nil {
			t.Fatal(err)
		}
		if more, err = w.move(tx); err != nil {
			t.Fatal(err)
		}
		if err := tx.Commit(); err != nil {
			t.Fatal(err)
		}
	}
	if left := count(t, db, `SELECT count(*) FROM `+oldRows); left != 0 {
		t.Errorf("%d rows are not moved", left)
	}
	w.statements.close()
	db.Close()
	again := open(t, dir, Options{})
	if readOf(t, again.Reader) != want || dump(t, dir, "sample") != shown {
		t.Error("the next opening finds something else")
	}
	if yes, err := isTable(again.db, oldRows); yes || err != nil {
		t.Errorf("the empty table of before is still there: %v", err)
	}
}

// dump is what a table or view shows to any SQLite tool.
func dump(t *testing.T, dir, table string) string {
	t.Helper()
	db, err := openDatabase(databasePath(dir), "mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query(`SELECT * FROM ` + table + ` ORDER BY sequence`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	names, _ := rows.Columns()
	var text strings.Builder
	text.WriteString(strings.Join(names, ","))
	values := make([]any, len(names))
	for i := range values {
		values[i] = new(any)
	}
	for rows.Next() {
		if err := rows.Scan(values...); err != nil {
			t.Fatal(err)
		}
		for _, v := range values {
			text.WriteString("|" + textOfAny(*v.(*any)))
		}
		text.WriteByte('\n')
	}
	return text.String()
}

// TestMoveIsKilled: a process that moves the rows of schema 1, and records beside it, is
// killed again and again; every row is there once, in its place, at any moment.
func TestMoveIsKilled(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := open(t, dir, Options{})
	for n := 1; n <= 1500; n++ {
		b := tick(n)
		b.State.Values.Put(quantity.Reynolds, float64(n))
		r.Put(b)
	}
	waitRow(t, r, 1500)
	shut(t, r)
	backToSchema1(t, dir)
	moved, rounds := 0, 5
	if *long {
		rounds = 20
	}
	for round := 0; round < rounds || moved == 0 && round < 20; round++ {
		killAfter(t, dir, "yes", time.Duration(rand.Int64N(400))*time.Millisecond+longer(round, moved > 0))
		checkAfterKill(t, dir, round, 1500, nil)
		db, err := openDatabase(databasePath(dir), "mode=ro")
		if err != nil {
			t.Fatal(err)
		}
		if left, err := isTable(db, oldRows); err == nil && left {
			moved = 1500 - count(t, db, `SELECT count(*) FROM `+oldRows)
		}
		db.Close()
	}
	if moved == 0 {
		t.Error("nothing was moved: the test shows nothing")
	}
}

func textOfAny(v any) string {
	if f, ok := v.(float64); ok {
		var s quantity.Set
		s.Put(quantity.Reynolds, f)
		return "real " + s.Text(quantity.Reynolds)
	}
	return fmt.Sprintf("%T %v", v, v)
}
