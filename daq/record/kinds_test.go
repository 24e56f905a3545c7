package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// Each kind's columns are those of its table, in a new recording; each event has a row
// in one table alone, reads back as its message, and is exported under its word.
func TestKinds(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	events := append([]daq.Event{raise("a", "normal", 1), {Note: &daq.Note{Kind: "other", Time: start, Who: "dana", Text: "x"}}}, results()...)
	if len(events) != len(kinds) {
		t.Fatalf("%d kinds, and %d events to try them", len(kinds), len(events))
	}
	for i, k := range kinds {
		n := tell(t, r, events[i])[0]
		list, err := r.Reader.Pending(context.Background(), k.class, n-1, 9)
		want := events[i].Message(r.Recording(), n)
		if err != nil || len(list) != 1 || string(list[0].Body) != string(want.Body) || list[0].Name != want.Name || list[0].Class != k.class {
			t.Errorf("%s: %s, %v, want %s", k.table, text(list), err, want.Body)
		}
		var names []string
		for _, f := range k.columns() {
			names = append(names, f.name)
		}
		var out strings.Builder
		if _, err := r.Export(context.Background(), &out, Export{What: k.export}); err != nil || !strings.HasPrefix(out.String(), strings.Join(names[:k.exported], ",")+"\r\n") {
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

// results is one of each kind of result, no field of which is empty.
func results() []daq.Event {
	at := func(v float64) *float64 { return &v }
	p := &daq.TestPoint{Time: start, Who: "dana", Experiment: "x-1", Point: "25 Cel laminar", Repeat: 1, Seconds: 60,
		Computed: "laminar", Observed: "turbulent", Spoilt: "a person touched the valve"}
	for i := range p.Means {
		p.Means[i] = daq.Mean{Value: at(float64(i) + 0.5), StandardError: at(0.25), Expanded: at(0.125)}
	}
	p.Means[3].Value = nil
	return []daq.Event{
		{TestPoint: p},
		{Observation: &daq.Observation{Time: start, Who: "dana", Experiment: "x-1", Seen: "laminar", Note: "a thread", Sensor: true,
			Approach: "rising", Contradicts: start.Add(-time.Minute),
			Conditions: daq.Conditions{Reynolds: at(1900), ReynoldsUncertainty: at(40), TubeTemperature: at(25), Flow: at(1e-5), DisturbedFraction: at(0.1), Temperature: at(25.1)}}},
		{Collection: &daq.Collection{Time: start, Who: "dana", Start: start.Add(-time.Minute), Stop: start, Seconds: 60, Volume: at(1e-3),
			VolumeUncertainty: at(1e-6), Mass: at(1), MassUncertainty: at(0.001), Vessel: "polypropylene", VesselTemperature: at(20),
			Collected: 1e-5, CollectedU: 1e-7, Metered: 1.1e-5, MeteredU: 1e-8, Factor: 0.9, FactorU: 0.01, Verdict: "inconclusive"}},
		{Experiment: &daq.Experiment{Time: start, Who: "dana", ID: "x-1", Name: "four", Action: "started", Plan: json.RawMessage(`{"name":"four"}`)}},
		{Strike: &daq.Strike{Time: start, Who: "dana", Of: "observation", Struck: 7, Reason: "wrong tube"}},
	}
}

// The results share one sequence with the notes: whoever follows the class gets them in
// its order, over all tables, however few at a time.
func TestResultsInOrder(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	var told []daq.Event
	for range 3 {
		told = append(append(told, results()...), daq.Event{Note: &daq.Note{Kind: "other", Time: start, Text: "between"}})
	}
	tell(t, r, told...)
	for after := int64(0); after < int64(len(told)); after += 2 {
		list, err := r.Reader.Pending(t.Context(), daq.ClassEvent, after, 2)
		if err != nil || len(list) != min(2, len(told)-int(after)) {
			t.Fatalf("after %d: %s, %v", after, text(list), err)
		}
		for i, m := range list {
			want := told[int(after)+i].Message(r.Recording(), after+int64(i)+1)
			if m.Sequence != want.Sequence || string(m.Body) != string(want.Body) {
				t.Errorf("after %d: %d %s, want %d %s", after, m.Sequence, m.Body, want.Sequence, want.Body)
			}
		}
	}
	list, err := r.Results(t.Context(), "observations", 17, 2)
	if err != nil || len(list) != 2 || list[0].Sequence != 14 || list[1].Sequence != 8 {
		t.Errorf("the newest observations are %s, %v, want 14 and 8", text(list), err)
	}
	if list, err = r.Results(t.Context(), "observations", 13, 1); err != nil || len(list) != 1 || list[0].Sequence != 8 {
		t.Errorf("the newest observation up to 13 is %s, %v, want 8", text(list), err)
	}
}

// A recording of before has none of the results, and is read and gone on with.
func TestResultsOfBefore(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	tell(t, r, daq.Event{Note: &daq.Note{Kind: "other", Time: start, Text: "x"}})
	if err := r.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	db, err := openDatabase(databasePath(dir), "mode=rw")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range kinds[2:] {
		if _, err := db.Exec("DROP TABLE " + k.table); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	old, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	list, err := old.Pending(t.Context(), daq.ClassEvent, 0, 9)
	if err != nil || len(list) != 1 {
		t.Errorf("%s, %v, want the one note", text(list), err)
	}
	var out strings.Builder
	if _, err := old.Export(t.Context(), &out, Export{What: "test-points"}); err != nil || strings.Count(out.String(), "\n") != 1 {
		t.Errorf("%v\n%s", err, out.String())
	}
	if got := tell(t, open(t, dir, Options{}), results()[0]); got[0] != 2 {
		t.Errorf("the first test point has the sequence %d, want 2", got[0])
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
