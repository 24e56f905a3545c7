package record

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

const patience = 20 * time.Second // for a real disk; only ever spent when something is broken

var start = time.Date(2031, 5, 6, 7, 8, 9, 123456789, time.UTC)

func open(t testing.TB, dir string, o Options) *Recorder {
	t.Helper()
	if o.DurableWithin == 0 {
		o.DurableWithin = 20 * time.Millisecond
	}
	more := o.Journalled
	o.Journalled = func(events []daq.Event, sequences []int64) {
		journalled.Store(&events[0], sequences)
		if more != nil {
			more(events, sequences)
		}
	}
	r, err := Open(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { shut(t, r) })
	return r
}

// journalled are the sequences of each step's events, by the first of them.
var journalled sync.Map

func shut(t testing.TB, r *Recorder) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := r.Close(ctx); err != nil {
		t.Error(err)
	}
}

func number(v float64) *float64 { return &v }

func begin(sha string) daq.Batch {
	return daq.Batch{Input: daq.Input{Number: 1, Wall: start, Kind: daq.KindStart, Start: &daq.Start{Configuration: sha}}}
}

// tick is step n of a run with a row; Re is n.
func tick(n int) daq.Batch {
	at := start.Add(time.Duration(n) * time.Second)
	s := &daq.State{Input: uint64(n), Time: at, Synchronised: true, Tick: true, Sample: true,
		Instruments: []quantity.ID{quantity.Flow, quantity.Temperature}}
	s.Quality[quantity.Flow] = daq.Quality{Grade: daq.Good}
	s.Quality[quantity.Temperature] = daq.Quality{Grade: daq.Bad, Why: `said "no"`}
	s.Values.Put(quantity.Reynolds, float64(n))
	s.Values.Put(quantity.Flow, 1.0/3)
	s.Values.PutBool(quantity.Steady, n%2 == 0)
	s.Values.Put(quantity.Regime, float64(quantity.Laminar))
	return daq.Batch{Input: daq.Input{Number: uint64(n), Mono: time.Duration(n) * time.Second, Wall: at, Synchronised: true, Kind: daq.KindTick}, State: s}
}

func raise(name, state string, n int) daq.Event {
	return daq.Event{Alarm: &daq.AlarmEvent{Name: name, State: state, Priority: "high", Time: start.Add(time.Duration(n) * time.Millisecond),
		Value: number(75.1), Limit: number(75), Cause: "hot", Consequence: "scalds", Action: "shut it"}}
}

// tell puts events, with no step of the engine, waits until they are told as
// recorded, and gives their sequences.
func tell(t testing.TB, r *Recorder, events ...daq.Event) []int64 {
	t.Helper()
	return tellAt(t, r, 0, events...)
}

// tellAt does so with the input of that number.
func tellAt(t testing.TB, r *Recorder, number uint64, events ...daq.Event) []int64 {
	t.Helper()
	r.Put(daq.Batch{Input: daq.Input{Number: number, Wall: start, Kind: daq.KindTick}, Events: events})
	until(t, r, "the events are told as recorded", func() bool {
		_, done := journalled.Load(&events[0])
		return done && r.idle()
	})
	list, _ := journalled.Load(&events[0])
	return list.([]int64)
}

// until waits until the recording is as wanted.
func until(t testing.TB, r *Recorder, what string, done func() bool) {
	t.Helper()
	deadline := time.After(patience)
	for {
		wake := r.Wake()
		if done() {
			return
		}
		select {
		case <-wake:
		case <-time.After(10 * time.Millisecond): // health changes without a commit
		case <-deadline:
			t.Fatal("never came: " + what)
		}
	}
}

func waitRow(t testing.TB, r *Recorder, n int64) {
	t.Helper()
	until(t, r, fmt.Sprintf("row %d", n), func() bool { return r.Newest() >= n })
}

func TestRowBecomesTheMessage(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	r.Put(begin("abc"))
	b := tick(2)
	r.Put(b)
	waitRow(t, r, 1)
	list, err := r.Pending(t.Context(), daq.ClassRecord, 0, 10)
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	var got map[string]any
	if err := json.Unmarshal(list[0].Body, &got); err != nil {
		t.Fatal(err)
	}
	want := map[string]any{"recording": r.Recording(), "sequence": 1.0, "time": "2031-05-06T07:08:11.123456Z",
		"clock_synchronised": true, "configuration": "abc",
		"quality":         map[string]any{"flow": "good", "temperature": `bad: said "no"`},
		"reynolds_number": 2.0, "steady": true, "regime": "laminar", "flow_cubic_meters_per_second": 1.0 / 3, "temperature_celsius": nil}
	for name, v := range want {
		if !reflect.DeepEqual(got[name], v) {
			t.Errorf("%s: %v, want %v", name, got[name], v)
		}
	}
	for id := range quantity.Count {
		if _, ok := got[id.Name()]; !ok {
			t.Errorf("%s is missing", id.Name())
		}
	}
}

// What is read back must be, byte for byte, what was told when it happened:
// subscribers compare by identity.
func TestAlarmAndNoteReadBackAsTold(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	a := raise("water-overheat", "shelved", 1)
	a.Alarm.Who, a.Alarm.Until, a.Alarm.Value = "demonstrator", start.Add(time.Hour), nil
	n := daq.Event{Note: &daq.Note{Kind: "refused", Time: start, Who: "desk", Text: "no such alarm"}}
	receipts := tell(t, r, a, n)
	if want := []int64{1, 1}; !reflect.DeepEqual(receipts, want) {
		t.Fatal(receipts)
	}
	for _, c := range []struct {
		class daq.Class
		want  []byte
	}{
		{daq.ClassAlarm, daq.AppendAlarm(nil, a.Alarm, r.Recording(), receipts[0])},
		{daq.ClassEvent, daq.AppendNote(nil, n.Note, r.Recording(), receipts[1])},
	} {
		list, err := r.Pending(t.Context(), c.class, 0, 10)
		if err != nil || len(list) != 1 || string(list[0].Body) != string(c.want) {
			t.Errorf("%s: %+v, %v; want %s", c.class, list, err, c.want)
		}
	}
}

func TestSequencesGoOnAfterARestart(t *testing.T) {
	dir := t.TempDir()
	var recording string
	for run := range 4 {
		r := open(t, dir, Options{})
		if run > 0 && r.Recording() != recording {
			t.Fatalf("recording %s became %s", recording, r.Recording())
		}
		recording = r.Recording()
		if got := r.Newest(); got != int64(3*run) {
			t.Errorf("run %d begins with newest %d", run, got)
		}
		r.Put(begin("abc"))
		for n := range 3 {
			r.Put(tick(n + 2))
		}
		if got := tell(t, r, raise("a", "normal", 0))[0]; got != int64(run+1) {
			t.Errorf("run %d: alarm %d", run, got)
		}
		shut(t, r)
	}
	r := open(t, dir, Options{})
	list, err := r.Pending(t.Context(), daq.ClassRecord, 0, 100)
	if err != nil || len(list) != 12 {
		t.Fatal(len(list), err)
	}
	for i, m := range list {
		if m.Sequence != int64(i+1) {
			t.Errorf("message %d has sequence %d", i, m.Sequence)
		}
	}
	runs, err := r.Runs(t.Context())
	if err != nil || len(runs) != 4 || runs[3].Configuration != "abc" || !runs[0].Began.Equal(start) {
		t.Error(runs, err)
	}
}

func TestRecordingIsAUUID(t *testing.T) { // RFC 9562: version 4, variant 10
	r := open(t, t.TempDir(), Options{})
	if !regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`).MatchString(r.Recording()) {
		t.Error(r.Recording())
	}
}

func TestRestoreGivesEachAlarmsLastState(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	r.Put(tick(1))
	shelved := raise("b", "shelved", 9)
	shelved.Alarm.Until = start.Add(time.Hour)
	shelved.Alarm.Underlying, shelved.Alarm.Raised = alarm.Underlying{Latched: true, Unacknowledged: true}, 7
	tell(t, r, raise("a", "unacknowledged", 1), raise("b", "unacknowledged", 2), raise("a", "acknowledged", 5), shelved)
	shut(t, r)
	got, err := open(t, dir, Options{}).Restore(t.Context())
	began := start.Truncate(time.Microsecond) // as written
	want := Restored{Recording: got.Recording, Newest: map[daq.Class]int64{daq.ClassRecord: 1, daq.ClassAlarm: 4, daq.ClassEvent: 0}, LastRow: began.Add(time.Second), Begun: true, Latest: got.Latest, Alarms: []daq.SavedAlarm{
		{Name: "a", State: "acknowledged", Since: began.Add(5 * time.Millisecond), Value: number(75.1), Underlying: &alarm.Underlying{}},
		{Name: "b", State: "shelved", Since: began.Add(9 * time.Millisecond), Until: began.Add(time.Hour), Value: number(75.1),
			Underlying: &alarm.Underlying{Latched: true, Unacknowledged: true}, Raised: 7}}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
}

// A recording of before does not say what stands beneath a state. It is read as it
// is where it cannot be written, and gets the columns where it can.
func TestRestoreOfARecordingThatKeptTheStateAlone(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	tell(t, r, raise("a", "shelved", 1))
	shut(t, r)
	db, err := openDatabase(databasePath(dir), "")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"active", "latched", "unacknowledged", "raised"} {
		if _, err := db.Exec("ALTER TABLE alarm_event DROP COLUMN " + name); err != nil {
			t.Fatal(err)
		}
	}
	db.Close()
	unknown := func(of interface {
		Restore(context.Context) (Restored, error)
	}) {
		t.Helper()
		got, err := of.Restore(t.Context())
		if err != nil || len(got.Alarms) != 1 || got.Alarms[0].State != "shelved" || got.Alarms[0].Underlying != nil {
			t.Errorf("%+v, %v: want it shelved, and nothing known beneath", got.Alarms, err)
		}
	}
	reader, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	unknown(reader)
	r = open(t, dir, Options{})
	unknown(r)
	again := raise("a", "shelved", 2)
	again.Alarm.Latched = true
	tell(t, r, again)
	if got, err := r.Restore(t.Context()); err != nil || len(got.Alarms) != 1 || got.Alarms[0].Underlying == nil || !got.Alarms[0].Underlying.Latched {
		t.Errorf("%+v, %v: want it latched beneath", got.Alarms, err)
	}
	if list, err := reader.AlarmHistory(t.Context(), 10); err != nil || len(list) != 2 {
		t.Errorf("%d transitions, %v, want 2 from one who opened before", len(list), err)
	}
}

// TestAFreshRecordingIsNotBegun: only what an input, an event or a row has been
// written to is.
func TestAFreshRecordingIsNotBegun(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	if back, err := r.Restore(t.Context()); err != nil || back.Begun {
		t.Errorf("fresh: %+v, %v", back, err)
	}
	r.Put(tick(1))
	waitRow(t, r, 1)
	if back, err := r.Restore(t.Context()); err != nil || !back.Begun {
		t.Errorf("with a row: %+v, %v", back, err)
	}
}

func TestAlarmHistoryIsNewestFirst(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	tell(t, r, raise("a", "unacknowledged", 1), raise("b", "normal", 2), raise("c", "normal", 3))
	got, err := r.AlarmHistory(t.Context(), 2)
	if err != nil || len(got) != 2 || got[0].Name != "c" || got[1].Name != "b" || got[1].Sequence != 2 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestMarks(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	r.Mark("broker", daq.ClassAlarm, 5)
	r.Mark("broker", daq.ClassAlarm, 3) // never back
	r.Mark("broker", daq.ClassRecord, 2)
	if n, err := r.Marked("broker", daq.ClassAlarm); n != 5 || err != nil {
		t.Error(n, err)
	}
	shut(t, r)
	r = open(t, dir, Options{})
	r.Mark("broker", daq.ClassAlarm, 4) // an old acknowledgement after a restart
	until(t, r, "the commit of the mark", func() bool { return r.queue.due(time.Now(), time.Hour) < 0 })
	for _, c := range []struct {
		to    string
		class daq.Class
		want  int64
	}{{"broker", daq.ClassAlarm, 5}, {"broker", daq.ClassRecord, 2}, {"broker", daq.ClassEvent, 0}, {"mail", daq.ClassAlarm, 0}} {
		if n, err := r.Marked(c.to, c.class); n != c.want || err != nil {
			t.Errorf("%s %s: %d, %v; want %d", c.to, c.class, n, err, c.want)
		}
	}
}

// The text is in the transaction of the input that names it, so that no kill
// falls between the two.
func TestConfigurationIsKeptByItsDigest(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	first, second := begin("f00"), begin("f01")
	first.Input.Start.Config = &config.Config{SHA256: "f00", Text: []byte("site = \"north-hall\"\n")}
	second.Input.Number, second.Input.Kind = 2, daq.KindReload
	second.Input.Start.Config = &config.Config{SHA256: "f01", Text: []byte("site = \"south-hall\"\n")}
	r.Put(first)
	r.Put(second)
	shut(t, r)
	r = open(t, dir, Options{})
	for sha, want := range map[string]string{"f00": "site = \"north-hall\"\n", "f01": "site = \"south-hall\"\n"} {
		if text, err := r.Configuration(t.Context(), sha); text != want || err != nil {
			t.Errorf("%s: %q, %v", sha, text, err)
		}
	}
	if _, err := r.Configuration(t.Context(), "bad"); err == nil || !strings.Contains(err.Error(), "not in this recording") {
		t.Error(err)
	}
}

func TestDurableWithin(t *testing.T) {
	const within = time.Second
	r := open(t, t.TempDir(), Options{Retention: Retention{DurableWithin: within}})
	for n := range 2 {
		began := time.Now()
		r.Put(tick(n + 1))
		waitRow(t, r, int64(n+1))
		if took := time.Since(began); took > within {
			t.Errorf("row %d was durable after %v, not within %v", n+1, took, within)
		}
	}
}

// A row that may take an hour is on disk at once when there is a hurry.
func TestHurry(t *testing.T) {
	r := open(t, t.TempDir(), Options{Retention: Retention{DurableWithin: time.Hour}})
	r.Hurry() // nothing waits: nothing happens
	r.Put(begin("abc"))
	r.Put(tick(2))
	if r.Newest() != 0 {
		t.Fatal("the row is on disk before there was a hurry: the test shows nothing")
	}
	r.Hurry()
	until(t, r, "the row is on disk", func() bool { return r.Newest() == 1 && r.Waiting() == 0 })
}

// A row that may take an hour is on disk soon once the recording was told
// another habit; what waited goes with it.
func TestAdjust(t *testing.T) {
	r := open(t, t.TempDir(), Options{Retention: Retention{DurableWithin: time.Hour}})
	r.Put(begin("abc"))
	r.Put(tick(2))
	until(t, r, "the writer waits by the old habit", func() bool { return len(r.queue.nudge) == 0 })
	if r.Newest() != 0 {
		t.Fatal("the row is on disk before: the test shows nothing")
	}
	r.Adjust(Retention{DurableWithin: 100 * time.Millisecond})
	r.Put(tick(3))
	until(t, r, "both rows are on disk", func() bool { return r.Newest() == 2 && r.Waiting() == 0 })
}

func TestAlarmsDoNotWaitForTheInterval(t *testing.T) {
	r := open(t, t.TempDir(), Options{Retention: Retention{DurableWithin: time.Hour}})
	r.Put(tick(1))
	began := time.Now()
	tell(t, r, raise("a", "unacknowledged", 0))
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("the alarm took %v", took)
	}
	if r.Newest() != 1 {
		t.Error("the row before it stayed behind")
	}
}

func bodies(t *testing.T, r *Reader) (out []string) {
	t.Helper()
	list, err := r.Pending(t.Context(), daq.ClassRecord, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range list {
		out = append(out, string(m.Body))
	}
	return out
}

func TestAlarmFigures(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	tell(t, r, raise("water-overheat", "unacknowledged", 0), raise("head-lost", "unacknowledged", 1))
	seen := raise("water-overheat", "acknowledged", 5000)
	seen.Alarm.Who = "dana"
	tell(t, r, seen)
	f, err := r.AlarmFigures(t.Context(), start, start.Add(time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	if f.Raised != 2 || f.Unacknowledged != 1 || len(f.Standing) != 2 || f.MedianWait == nil || *f.MedianWait != 5 {
		t.Errorf("%+v", f)
	}
}
