package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// slowTrends makes a recording's rows a query without an end, until its context
// ends.
func slowTrends(t *testing.T, dir string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	_, err = db.Exec(fmt.Sprintf(`DROP VIEW sample; ALTER TABLE sample_row RENAME TO stored;
		CREATE VIEW sample_row AS SELECT 1 AS sequence, time, (WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT max(x) FROM n) AS %s
		FROM stored`, quantity.Reynolds.Name()))
	if err != nil {
		t.Fatal(err)
	}
}

// TestTrendsKeepNoAlarm asks for more trends than the recording has connections
// for, each without an end. Alarms and their history are read all the same, and
// a trend that finds no room says so when its time is over.
func TestTrendsKeepNoAlarm(t *testing.T) {
	dir := t.TempDir()
	w := open(t, dir, Options{})
	tell(t, w, raise("water-overheat", "unacknowledged", 1))
	w.Put(tick(1))
	shut(t, w)
	r, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	slowTrends(t, dir)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	asked := 2 * readConnections
	ended := make(chan error, asked)
	for range asked {
		go func() {
			_, err := r.Trend(ctx, quantity.Reynolds, start, start.Add(time.Hour), 1)
			ended <- err
		}()
	}
	at := time.Now()
	quick, done := context.WithTimeout(t.Context(), patience)
	defer done()
	rounds := 0
	for ; rounds < 100 || len(r.trends) < trendsAtOnce; rounds++ { // meanwhile every trend that can has begun
		if list, err := r.Pending(quick, daq.ClassAlarm, 0, 10); err != nil || len(list) != 1 {
			t.Fatalf("%d alarms pending, %v", len(list), err)
		}
		if list, err := r.AlarmHistory(quick, 10); err != nil || len(list) != 1 {
			t.Fatalf("%d alarms in the history, %v", len(list), err)
		}
		if _, err := r.AlarmFigures(quick, start, start.Add(time.Hour)); err != nil {
			t.Fatalf("figures: %v", err)
		}
	}
	t.Logf("pending, history and figures beside %d trends took %v in the mean", asked, time.Since(at)/time.Duration(rounds))
	short, over := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer over()
	if _, err := r.Trend(short, quantity.Reynolds, start, start.Add(time.Hour), 1); err == nil || !strings.Contains(err.Error(), "others are under way") {
		t.Errorf("one trend more: %v", err)
	}
	cancel()
	for range asked {
		if err := <-ended; err == nil {
			t.Error("a trend without an end has one")
		}
	}
}

// TestWhatCannotBeReadSaysWhere: whoever reads, the error names the file and at what.
func TestWhatCannotBeReadSaysWhere(t *testing.T) {
	dir := t.TempDir()
	shut(t, open(t, dir, Options{}))
	r, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	r.Close()
	ctx := t.Context()
	_, runs := r.Runs(ctx)
	_, digests := r.Digests(ctx, 1)
	_, rows := r.Pending(ctx, daq.ClassRecord, 0, 1)
	_, alarms := r.Pending(ctx, daq.ClassAlarm, 0, 1)
	_, history := r.AlarmHistory(ctx, 1)
	_, figures := r.AlarmFigures(ctx, start, start)
	_, inputs := list(r.Inputs(ctx, 1, 1))
	_, exported := r.Export(ctx, io.Discard, Export{What: "alarms"})
	_, recorded := list(r.Rows(ctx, start, start))
	for at, err := range map[string]error{
		"runs": runs, "digests": digests, "messages": errors.Join(rows, alarms, history), "alarm figures": figures, "inputs of run 1": inputs,
		"rows": recorded, "export": exported,
	} {
		for line := range strings.Lines(fmt.Sprint(err)) {
			if !strings.HasPrefix(line, databasePath(dir)+": "+at+": ") {
				t.Errorf("%s: %q does not say where", at, line)
			}
		}
	}
}
