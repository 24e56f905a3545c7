package record

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/table"
)

func exported(t *testing.T, r *Reader, e Export) string {
	t.Helper()
	var b bytes.Buffer
	if _, err := r.Export(t.Context(), &b, e); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func recordTen(t *testing.T) *Recorder {
	r := open(t, t.TempDir(), Options{})
	for n := range 10 {
		r.Put(tick(n + 1))
	}
	a := raise("a", "unacknowledged", 1)
	a.Alarm.Cause, a.Alarm.Value = "said \"hot\",\nthen nothing", nil
	tell(t, r, a, daq.Event{Note: &daq.Note{Kind: "start", Time: start, Text: "begins"}})
	return r
}

func TestExportCSV(t *testing.T) {
	r := recordTen(t)
	for _, c := range []struct {
		name string
		e    Export
		want map[string][]string // column → cells
	}{
		{"samples", Export{What: "samples", Form: table.Form{Format: "csv"}, From: start.Add(2500 * time.Millisecond), To: start.Add(5 * time.Second)}, map[string][]string{
			"sequence": {"3", "4"}, "time": {"2031-05-06T07:08:12.123456Z", "2031-05-06T07:08:13.123456Z"}, "reynolds_number": {"3", "4"},
			"steady": {"false", "true"}, "regime": {"laminar", "laminar"}, "temperature_celsius": {"", ""}, "clock_synchronised": {"true", "true"}}},
		{"thinned", Export{What: "samples", Form: table.Form{Every: 4 * time.Second}}, map[string][]string{
			// 07:08:10 to 07:08:19 in stretches of 4 s that begin at :08, :12, :16
			"sequence": {"1", "3", "7"}}},
		{"alarms", Export{What: "alarms"}, map[string][]string{
			"name": {"a"}, "state": {"unacknowledged"}, "value": {""}, "limit": {"75"}, "cause": {"said \"hot\",\nthen nothing"}, "until": {""}}},
		{"notes", Export{What: "notes"}, map[string][]string{"kind": {"start"}, "text": {"begins"}}},
		{"nothing", Export{What: "samples", From: start.Add(time.Hour)}, map[string][]string{"sequence": nil}},
	} {
		t.Run(c.name, func(t *testing.T) {
			lines, err := csv.NewReader(strings.NewReader(exported(t, r.Reader, c.e))).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			for name, want := range c.want {
				if got := cellsOf(lines, name); strings.Join(got, "|") != strings.Join(want, "|") {
					t.Errorf("%s: %q, want %q", name, got, want)
				}
			}
		})
	}
}

// TestExportCommandsNobody: no text that somebody wrote reaches a terminal or
// a spreadsheet as a command, and no number is touched.
func TestExportCommandsNobody(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"=HYPERLINK(\"http://a\")": "'=HYPERLINK(\"http://a\")", "+1": "'+1", "-2 K too low": "'-2 K too low", "@SUM(A1)": "'@SUM(A1)",
		"\t=1": "'\t=1", "\r=1": `\u000d=1`, "\n=1": "'\n=1", "＝1": "'＝1", "": "", "a=b": "a=b", "75 °C ± 1 K\nand\tmore": "75 °C ± 1 K\nand\tmore",
		"\x1b]0;owned\x07": `\u001b]0;owned\u0007`, "\u009b2J": `\u009b2J`, "\x9b2J": "\uFFFD2J", "\x7f": `\u007f`, "a\rb": `a\u000db`, "\u202eevil": `\u202eevil`,
	} {
		r := open(t, t.TempDir(), Options{})
		b := tick(1)
		b.State.Values.Put(quantity.Reynolds, -3.5)
		b.State.Quality[quantity.Flow] = daq.Quality{Grade: daq.Bad, Why: text}
		r.Put(b)
		a := raise("a", "unacknowledged", 1)
		a.Alarm.Cause, a.Alarm.Consequence, a.Alarm.Action, a.Alarm.Who, a.Alarm.Value = text, text, text, text, number(-3.5)
		tell(t, r, a, daq.Event{Note: &daq.Note{Kind: "other", Time: start, Who: text, Text: text}})
		for what, columns := range map[string]map[string]string{
			"alarms":  {"cause": want, "consequence": want, "action": want, "who": want, "value": "-3.5"},
			"notes":   {"who": want, "text": want},
			"samples": {"reynolds_number": "-3.5"},
		} {
			out := strings.ReplaceAll(exported(t, r.Reader, Export{What: what}), "\r\n", "\n") // the ends of lines
			lines, err := csv.NewReader(strings.NewReader(out)).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			for column, want := range columns {
				if got := cellsOf(lines, column); len(got) != 1 || got[0] != want {
					t.Errorf("%q in %s, %s: %q, want %q", text, what, column, got, want)
				}
			}
			object := exported(t, r.Reader, Export{What: what, Form: table.Form{Format: "json"}})
			if !json.Valid([]byte(object)) {
				t.Errorf("%q in %s: %s", text, what, object)
			}
			for _, raw := range []string{"\x1b", "\x07", "\x7f", "\u009b", "\x9b2J", "\r", "\u202e"} {
				if strings.Contains(out, raw) || strings.Contains(object, raw) {
					t.Errorf("%q of %q reaches the terminal in %s:\n%q\n%q", raw, text, what, out, object)
				}
			}
		}
		shut(t, r)
	}
}

func cellsOf(lines [][]string, name string) (cells []string) {
	for i, header := range lines[0] {
		if header == name {
			for _, line := range lines[1:] {
				cells = append(cells, line[i])
			}
			return cells
		}
	}
	return []string{"no column " + name}
}

func TestExportJSONIsTheMessages(t *testing.T) {
	r := recordTen(t)
	for what, class := range map[string]daq.Class{"samples": daq.ClassRecord, "alarms": daq.ClassAlarm, "notes": daq.ClassEvent} {
		var got []json.RawMessage
		if err := json.Unmarshal([]byte(exported(t, r.Reader, Export{What: what, Form: table.Form{Format: "json"}})), &got); err != nil {
			t.Fatal(what, err)
		}
		list, err := r.Pending(t.Context(), class, 0, 100)
		if err != nil || len(list) != len(got) {
			t.Fatal(what, len(list), len(got), err)
		}
		for i := range list {
			if string(got[i]) != string(list[i].Body) {
				t.Errorf("%s %d: %s, want %s", what, i, got[i], list[i].Body)
			}
		}
	}
	if got := exported(t, r.Reader, Export{What: "alarms", Form: table.Form{Format: "json"}, From: start.Add(time.Hour)}); got != "[]\n" {
		t.Errorf("nothing is %q", got)
	}
}

func TestExportRefuses(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	for _, c := range []struct {
		e    Export
		want string
	}{
		{Export{What: "poems"}, "samples, alarms, notes"},
		{Export{What: "samples", Form: table.Form{Format: "xml"}}, "csv, json, jsonl, parquet"},
	} {
		if _, err := r.Export(t.Context(), &bytes.Buffer{}, c.e); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c.e, err)
		}
	}
}

func TestTrend(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	for n := 1; n <= 100; n++ { // Re n at second n
		b := tick(n)
		if n > 60 && n <= 80 {
			b.State.Values.Clear(quantity.Reynolds)
		}
		r.Put(b)
	}
	waitRow(t, r, 100)
	got, err := r.Trend(t.Context(), quantity.Reynolds, start, start.Add(120*time.Second), 6)
	// seconds 0–20 hold Re 1…19 (the row of second 20 begins the next bucket)
	bucket := func(second int, min, mean, max float64, n int) daq.Bucket {
		return daq.Bucket{Time: start.Add(time.Duration(second) * time.Second), Min: min, Mean: mean, Max: max, Count: n}
	}
	want := []daq.Bucket{bucket(0, 1, 10, 19, 19), bucket(20, 20, 29.5, 39, 20), bucket(40, 40, 49.5, 59, 20),
		bucket(60, 60, 60, 60, 1), bucket(80, 81, 90, 99, 19), bucket(100, 100, 100, 100, 1)}
	if err != nil || len(got) != len(want) {
		t.Fatal(got, err)
	}
	for i := range want {
		if !got[i].Time.Equal(want[i].Time) || got[i].Min != want[i].Min || got[i].Mean != want[i].Mean || got[i].Max != want[i].Max || got[i].Count != want[i].Count {
			t.Errorf("bucket %d: %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestTrendRefuses(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	for _, c := range []struct {
		id       quantity.ID
		from, to time.Time
		buckets  int
		want     string
	}{
		{quantity.Regime, start, start.Add(1), 1, "not a number"},
		{quantity.Count, start, start.Add(1), 1, "not a number"},
		{quantity.Reynolds, start, start, 1, "to must be after from"},
		{quantity.Reynolds, start, start.Add(1), 0, "buckets"},
		{quantity.Reynolds, start, start.Add(1), maxBuckets + 1, "buckets"},
	} {
		if _, err := r.Trend(t.Context(), c.id, c.from, c.to, c.buckets); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

func TestBackupIsARecording(t *testing.T) {
	r := recordTen(t)
	dir := t.TempDir()
	if err := r.Backup(t.Context(), databasePath(dir)); err != nil {
		t.Fatal(err)
	}
	if err := r.Backup(t.Context(), databasePath(dir)); err == nil || !strings.Contains(err.Error(), "exists already") {
		t.Error(err)
	}
	if rest, _ := filepath.Glob(filepath.Join(dir, "*.part*")); len(rest) != 0 {
		t.Error(rest)
	}
	r.Put(tick(11)) // the original goes on
	waitRow(t, r, 11)
	copied, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	if copied.Recording() != r.Recording() || len(bodies(t, copied)) != 10 {
		t.Error(copied.Recording(), len(bodies(t, copied)))
	}
	copied.Close()
	goesOn := open(t, dir, Options{})
	if goesOn.Recording() == r.Recording() || goesOn.Newest() != 10 {
		t.Errorf("a copy that is written keeps the identity %s", goesOn.Recording())
	}
	shut(t, goesOn)
	if again := open(t, dir, Options{}); again.Recording() != goesOn.Recording() {
		t.Error("the copy's identity changed once more")
	}
	if err := r.Backup(t.Context(), filepath.Join(dir, "missing", "f")); err == nil || !strings.Contains(err.Error(), "look at the rights") {
		t.Error(err)
	}
}

// A recording on a medium that cannot be written to is still read: one where nobody
// has the rights, and one where no file can be made, by root either. Where a log is
// there, and no index of it can be made, its rows cannot be read, and what is older
// is not handed over for the whole.
func TestReadOnlyDirectory(t *testing.T) {
	for _, c := range []struct {
		name string
		shut func(t *testing.T, dir string)
		log  bool
	}{
		{"no rights", func(t *testing.T, dir string) {
			if err := os.Chmod(dir, 0o555); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.Chmod(dir, 0o755) })
		}, false},
		{"nothing can be made", func(t *testing.T, dir string) { noFile(t, dir, "-shm"); noFile(t, dir, "-wal") }, false},
		{"no index, and a log", func(t *testing.T, dir string) { noFile(t, dir, "-shm") }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			r := open(t, dir, Options{})
			r.Put(tick(1))
			waitRow(t, r, 1)
			if c.log { // of a daemon that was killed, behind an older row
				shut(t, r)
				r = open(t, dir, Options{})
				r.Put(tick(2))
				waitRow(t, r, 2)
				copied := t.TempDir()
				for _, end := range []string{"", "-wal"} {
					text, err := os.ReadFile(databasePath(dir) + end)
					if err != nil {
						t.Fatal(err)
					}
					if err := os.WriteFile(databasePath(copied)+end, text, 0o600); err != nil {
						t.Fatal(err)
					}
				}
				dir = copied
			} else {
				shut(t, r)
			}
			c.shut(t, dir)
			again, err := OpenReader(dir)
			if c.log {
				if err == nil {
					t.Fatalf("it was read past its log: %d rows", len(bodies(t, again)))
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			defer again.Close()
			if len(bodies(t, again)) != 1 {
				t.Error("the row is not there")
			}
		})
	}
}

// noFile lets nobody make a file beside the database: a link in its place leads into a
// directory that is not there.
func noFile(t *testing.T, dir, end string) {
	t.Helper()
	if err := os.Symlink(filepath.Join(dir, "nowhere", "file"), databasePath(dir)+end); err != nil {
		t.Fatal(err)
	}
}
