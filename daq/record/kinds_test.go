package record

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"testing"

	"flowrigd/daq"
)

// Each kind's columns are those of its table, in a new recording; each event has a row
// in one table alone, reads back as its message, and is exported under its word.
func TestKinds(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	events := []daq.Event{raise("a", "normal", 1), {Note: &daq.Note{Kind: "other", Time: start, Who: "dana", Text: "x"}}}
	if len(events) != len(kinds) {
		t.Fatalf("%d kinds, and %d events to try them", len(kinds), len(events))
	}
	for i, k := range kinds {
		n := tell(t, r, events[i])[0]
		list, err := r.Reader.Pending(context.Background(), k.class, 0, 9)
		want := events[i].Message(r.Recording(), n)
		if err != nil || len(list) != 1 || string(list[0].Body) != string(want.Body) || list[0].Name != want.Name || list[0].Class != k.class {
			t.Errorf("%s: %s, %v, want %s", k.table, text(list), err, want.Body)
		}
		var names []string
		for _, f := range k.columns() {
			names = append(names, f.name)
		}
		var out strings.Builder
		if err := r.Export(context.Background(), &out, Export{What: k.export}); err != nil || !strings.HasPrefix(out.String(), strings.Join(names[:k.exported], ",")+"\n") {
			t.Errorf("%s: %v\n%s", k.export, err, out.String())
		}
		for j, other := range kinds {
			if (other.fields(&eventRow{Event: events[i]}) != nil) != (i == j) {
				t.Errorf("an event of %s in the table %s", k.table, other.table)
			}
		}
		have := columns(t, r.db, k.table)
		if !slices.Equal(have, names) {
			t.Errorf("%s has the columns %q, want %q", k.table, have, names)
		}
	}
}

// columns are those of a table that hold something, in the order in which they stand.
func columns(t *testing.T, db *sql.DB, table string) (list []string) {
	t.Helper()
	rows, err := db.Query(`SELECT name FROM pragma_table_info(?)`, table)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		list = append(list, name)
	}
	return list
}
