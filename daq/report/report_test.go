package report

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"html"
	"io"
	"iter"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/daq"
)

var update = flag.Bool("update", false, "write the goldens anew")

var began = time.Date(2031, 5, 6, 9, 0, 0, 0, time.UTC)

// A recorded is a Source that holds what a test put into it.
type recorded struct {
	events        map[string][]daq.Event
	rows          []daq.Row
	configuration string
	first, last   time.Time
	trend         func(id quantity.ID, at time.Time) (float64, bool)
}

func (s *recorded) Recording() string { return "00000000-0000-4000-8000-000000000001" }

func (s *recorded) Span(context.Context) (first, last time.Time, err error) {
	return s.first, s.last, nil
}

func (s *recorded) Trend(_ context.Context, id quantity.ID, from, to time.Time, buckets int) (list []daq.Bucket, err error) {
	for i := range buckets {
		b := daq.Bucket{Time: from.Add(to.Sub(from) / time.Duration(buckets) * time.Duration(i))}
		if v, ok := s.trend(id, b.Time); ok {
			b.Min, b.Mean, b.Max, b.Count = 0.98*v, v, 1.02*v, 10
		}
		list = append(list, b)
	}
	return list, nil
}

func (s *recorded) Events(_ context.Context, what string, from, to time.Time, each func(int64, daq.Event) error) error {
	for i, e := range s.events[what] {
		at := timeOf(e)
		if at.Before(from) || !to.IsZero() && !at.Before(to) {
			continue
		}
		if err := each(int64(i+1), e); err != nil {
			return err
		}
	}
	return nil
}

func (s *recorded) Rows(_ context.Context, from, to time.Time) iter.Seq2[daq.Row, error] {
	return func(yield func(daq.Row, error) bool) {
		for _, row := range s.rows {
			if !row.Time.Before(from) && row.Time.Before(to) && !yield(row, nil) {
				return
			}
		}
	}
}

func timeOf(e daq.Event) time.Time {
	switch {
	case e.Alarm != nil:
		return e.Alarm.Time
	case e.Note != nil:
		return e.Note.Time
	case e.TestPoint != nil:
		return e.TestPoint.Time
	case e.Observation != nil:
		return e.Observation.Time
	case e.Collection != nil:
		return e.Collection.Time
	case e.Experiment != nil:
		return e.Experiment.Time
	}
	return e.Strike.Time
}

func (s *recorded) Configurations(_ context.Context, from, to time.Time) ([]string, error) {
	if s.first.IsZero() || to.Before(s.first) || from.After(s.last) {
		return nil, nil
	}
	return []string{strings.Repeat("ab", 32)}, nil
}

func (s *recorded) Configuration(_ context.Context, sha string) (string, error) {
	if s.configuration == "" {
		return "", errors.New("configuration " + sha + ": not in this recording")
	}
	return s.configuration, nil
}

func (s *recorded) put(what string, e daq.Event) { s.events[what] = append(s.events[what], e) }

func number(v float64) *float64 { return &v }

// bench is a recording without anything but rows: Re rises from 1500 to 3500.
func bench(t *testing.T) *recorded {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "rigs", "good", "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	s := &recorded{events: map[string][]daq.Event{}, configuration: "zone = \"Etc/UTC\"\n" + string(text), first: began, last: began.Add(4 * time.Hour)}
	s.trend = func(id quantity.ID, at time.Time) (float64, bool) {
		minutes := at.Sub(began).Minutes()
		switch id {
		case quantity.Reynolds:
			return 1500 + 2000*minutes/240, minutes < 100 || minutes > 130
		case quantity.Temperature, quantity.TubeTemperature:
			return 20 + 40*minutes/240, true
		case quantity.Flow:
			return 2e-5, true
		}
		return 0, false
	}
	return s
}

// sweepOf is a whole experiment: four temperatures, twelve flows each, rising.
func sweepOf(t *testing.T) *recorded {
	t.Helper()
	s := bench(t)
	who := "operator"
	s.put("experiments", daq.Event{Experiment: &daq.Experiment{Time: began, Who: who, ID: "sweep-1", Name: "four temperatures", Action: "started", Plan: json.RawMessage(`{"name":"four temperatures"}`)}})
	s.put("experiments", daq.Event{Experiment: &daq.Experiment{Time: began.Add(4 * time.Hour), Who: who, ID: "sweep-1", Action: "done"}})
	at := began
	for _, celsius := range []float64{20, 35, 50, 65} {
		for i := range 12 {
			at = at.Add(5 * time.Minute)
			re := 1700 + 60*float64(i)
			seen := "laminar"
			switch {
			case re > 2250:
				seen = "turbulent"
			case re > 2040:
				seen = "transitional"
			}
			s.put("observations", daq.Event{Observation: &daq.Observation{
				Time: at, Who: who, Experiment: "sweep-1", Seen: seen, Approach: "rising",
				Conditions: daq.Conditions{Reynolds: number(re), ReynoldsUncertainty: number(0.02 * re), TubeTemperature: number(celsius)},
			}})
			if i%4 == 1 {
				s.put("test-points", daq.Event{TestPoint: testPoint(t, at, celsius, re, seen)})
			}
		}
	}
	s.put("collections", daq.Event{Collection: &daq.Collection{
		Time: at, Who: who, Start: at.Add(-time.Minute), Stop: at, Seconds: 60, Volume: number(1.2e-3),
		Collected: 2e-5, CollectedU: 1.2e-7, Metered: 2.01e-5, MeteredU: 3e-8, Factor: 0.995, FactorU: 0.0062, Verdict: "within its accuracy",
	}})
	s.put("alarms", daq.Event{Alarm: &daq.AlarmEvent{Name: "head-lost", State: "unacknowledged", Priority: "high", Time: at, Cause: "The level fell below the lip.", Who: ""}})
	s.put("notes", daq.Event{Note: &daq.Note{Kind: "valve", Time: at, Who: who, Text: "opened a little"}})
	s.put("strikes", daq.Event{Strike: &daq.Strike{Time: began.Add(26 * time.Hour), Who: who, Of: daq.KindTestPoint, Struck: 2, Reason: "the valve was touched"}})
	return s
}

// testPoint is computed by the bench's own physics: bore 13 mm.
func testPoint(t *testing.T, at time.Time, celsius, re float64, seen string) *daq.TestPoint {
	t.Helper()
	w, err := water.At(celsius)
	if err != nil {
		t.Fatal(err)
	}
	const bore = 0.013
	v := re * w.KinematicViscosity / bore
	p := &daq.TestPoint{Time: at, Experiment: "sweep-1", Point: fmt.Sprintf("%.0f Cel, Re %.0f", celsius, re), Seconds: 60, Computed: "laminar", Observed: seen}
	if re > 2000 {
		p.Computed = "transitional"
	}
	values := map[quantity.ID][2]float64{
		quantity.Flow: {v * math.Pi / 4 * bore * bore, 0.01}, quantity.Temperature: {celsius + 0.2, 0.01}, quantity.TubeTemperature: {celsius, 0.015},
		quantity.Velocity: {v, 0.012}, quantity.KinematicViscosity: {w.KinematicViscosity, 0.01}, quantity.Reynolds: {re, 0.021},
		quantity.MeasuredFriction: {pipe.LaminarFriction(re) * 1.02, 0.05}, quantity.DisturbedFraction: {1 / (1 + math.Exp(-(re-2100)/60)), 0.2},
		quantity.Ambient: {21, 0.02},
	}
	for i, id := range daq.PointQuantities {
		if x, ok := values[id]; ok {
			p.Means[i] = daq.Mean{Value: number(x[0]), StandardError: number(x[0] * x[1] / 10), Expanded: number(x[0] * x[1])}
		}
	}
	return p
}

func written(t *testing.T, s *recorded, experiment string) string {
	t.Helper()
	r, err := Load(t.Context(), s, Request{Experiment: experiment, Made: began.Add(48 * time.Hour), Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := r.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestGolden holds whole reports: of a sweep, and of a recording without one.
func TestGolden(t *testing.T) {
	for name, page := range map[string]string{"sweep": written(t, sweepOf(t), "sweep-1"), "recording": written(t, bench(t), "")} {
		file := filepath.Join("testdata", name+".html")
		if *update {
			if err := os.WriteFile(file, []byte(page), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if page != string(want) {
			t.Errorf("%s: the report differs from %s; look at it, then go test ./daq/report -update", name, file)
		}
	}
}

// TestTheReportSays: the sentences and figures that a reader looks for.
func TestTheReportSays(t *testing.T) {
	page := written(t, sweepOf(t), "sweep-1")
	for _, want := range []string{
		"Experiment four temperatures (sweep-1)", "laminar up to 2000, disturbed from 2060", "By eye, Re rising, 4 temperatures: the data do not contradict one critical Re",
		"head-lost", "opened a little", "struck: the valve was touched (operator, 7 May 2031 11:00)", "within its accuracy", "0.9950 ± 0.0062",
		"It cannot show the 2040", "12830", "test-point 2 struck by operator", "Darcy friction factor", strings.Repeat("ab", 32),
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
	if n := strings.Count(page, "<svg"); n != 4 {
		t.Errorf("%d pictures, want 4", n)
	}
}

// TestStruckDoesNotCount: an observation that is struck is out of the results and
// in the table.
func TestStruckDoesNotCount(t *testing.T) {
	s := sweepOf(t)
	s.put("observations", daq.Event{Observation: &daq.Observation{Time: began.Add(235 * time.Minute), Experiment: "sweep-1", Seen: "laminar", Approach: "rising",
		Conditions: daq.Conditions{Reynolds: number(3300), ReynoldsUncertainty: number(60), TubeTemperature: number(65)}}})
	if page := written(t, s, "sweep-1"); !strings.Contains(page, "overlap: disturbed from 2060, and laminar up to 3300") {
		t.Error("an observation beyond the bracket makes no overlap")
	}
	s.put("strikes", daq.Event{Strike: &daq.Strike{Time: began.Add(30 * time.Hour), Who: "operator", Of: daq.KindObservation, Struck: 49, Reason: "looked at the wrong tube"}})
	page := written(t, s, "sweep-1")
	if strings.Contains(page, "overlap: disturbed") || !strings.Contains(page, "looked at the wrong tube") {
		t.Error("a struck observation counts, or is gone")
	}
}

// TestTooFewForAnInterval: three flows give the bracket alone, and the report says so.
func TestTooFewForAnInterval(t *testing.T) {
	s := bench(t)
	for i, seen := range []string{"laminar", "transitional", "turbulent"} {
		re := 1900 + 300*float64(i)
		s.put("observations", daq.Event{Observation: &daq.Observation{Time: began.Add(time.Duration(i) * time.Minute), Seen: seen, Approach: "falling",
			Conditions: daq.Conditions{Reynolds: number(re), ReynoldsUncertainty: number(40), TubeTemperature: number(20)}}})
	}
	page := written(t, s, "")
	for _, want := range []string{"<td>no interval</td><td>laminar up to 1900, disturbed from 2200</td>", "cannot be tested"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
}

// TestHostileText: what people wrote is text, everywhere.
func TestHostileText(t *testing.T) {
	const evil = `<script>alert(1)</script>"'&<img src=x onerror=y>`
	s := sweepOf(t)
	p := testPoint(t, began.Add(time.Minute), 20, 1900, evil)
	p.Point, p.Spoilt = evil, evil
	s.put("test-points", daq.Event{TestPoint: p})
	s.put("observations", daq.Event{Observation: &daq.Observation{Time: began, Experiment: "sweep-1", Who: evil, Seen: evil, Note: evil, Approach: evil}})
	s.put("notes", daq.Event{Note: &daq.Note{Kind: evil, Time: began, Who: evil, Text: evil}})
	s.put("alarms", daq.Event{Alarm: &daq.AlarmEvent{Name: evil, State: evil, Priority: evil, Time: began, Cause: evil, Who: evil}})
	s.put("strikes", daq.Event{Strike: &daq.Strike{Time: began.Add(30 * time.Hour), Who: evil, Of: daq.KindCollection, Struck: 1, Reason: evil}})
	s.events["experiments"][0].Experiment.Name = evil
	page := written(t, s, "sweep-1")
	for _, bad := range []string{"<script", "<img", "onerror=y>\""} {
		if strings.Contains(page, bad) {
			t.Errorf("%q stands in the report as it was written", bad)
		}
	}
	if n := strings.Count(page, "&lt;script&gt;"); n < 15 {
		t.Errorf("the text stands %d times in the report, want 15 or more", n)
	}
}

// TestPicturesAreXML and say what they show; and the file names no address.
func TestPicturesAreXML(t *testing.T) {
	page := written(t, sweepOf(t), "sweep-1")
	pictures := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1)
	if len(pictures) != 4 {
		t.Fatalf("%d pictures", len(pictures))
	}
	for _, p := range pictures {
		d := xml.NewDecoder(strings.NewReader(p))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		for _, want := range []string{`role="img"`, "<title>", "<desc>"} {
			if !strings.Contains(p, want) {
				t.Errorf("no %s in a picture", want)
			}
		}
		if strings.Contains(p, "NaN") || strings.Contains(p, "Inf") {
			t.Error("a picture has a place that is no number")
		}
	}
	if bad := regexp.MustCompile(`(?i)(https?:|//[a-z]|src=|href=|url\(|@import)`).FindString(page); bad != "" {
		t.Errorf("the report refers to something outside of it: %q", bad)
	}
}

func TestLoadRefuses(t *testing.T) {
	empty := &recorded{events: map[string][]daq.Event{}}
	young := sweepOf(t)
	young.first, young.last = began.Add(-2*time.Hour), began.Add(-time.Hour)
	young.events["experiments"] = young.events["experiments"][:1]
	for name, c := range map[string]struct {
		s    *recorded
		id   string
		want string
	}{
		"no such experiment": {sweepOf(t), "sweep-2", `experiment "sweep-2": not in this recording, which has: sweep-1; name one of these`},
		"none at all":        {bench(t), "x", "which has: none"},
		"no rows":            {empty, "", "no rows in it"},
		"no rows since":      {young, "sweep-1", "no rows since it was started"},
	} {
		if _, err := Load(t.Context(), c.s, Request{Experiment: c.id}); !errors.Is(err, ErrNothing) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// TestAShortRecordingHasNoGaps: rows each second for two minutes are one line, and a
// stretch that holds no row of a long one stays a gap.
func TestAShortRecordingHasNoGaps(t *testing.T) {
	for _, c := range []struct {
		length time.Duration
		want   int
	}{{2 * time.Minute, 40}, {time.Second, 1}, {4 * time.Hour, mostStretches}} {
		r := &Report{From: began, To: began.Add(c.length)}
		if got := r.stretches(); got != c.want {
			t.Errorf("%v: %d stretches, want %d", c.length, got, c.want)
		}
	}
	if gaps := strings.Count(written(t, bench(t), ""), "Re, mean of each stretch"); gaps != 1 {
		t.Errorf("the line is named %d times", gaps)
	}
}

// TestInstruments: a certificate stands with its day and when it is due.
func TestInstruments(t *testing.T) {
	s := bench(t)
	before := `accuracy = {fixed = "1.5 K"}`
	if !strings.Contains(s.configuration, before) {
		t.Fatal("the bench states its thermometer otherwise")
	}
	s.configuration = strings.Replace(s.configuration, before, `calibration = {u = "0.05 K", k = 2, date = "2026-05-01", drift = "0.02 K/a", due = "365 d"}`, 1)
	page := html.UnescapeString(written(t, s, ""))
	for _, want := range []string{"standard uncertainty 0.025 K by its certificate", "of 2026-05-01, due 2027-05-01", "limits of error 0.5 % of the reading + 0.005 L/min"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
}

// TestNotTheSame: where the dye is torn 30 % later at one temperature, the report says
// that the critical Re is not the same.
func TestNotTheSame(t *testing.T) {
	s := sweepOf(t)
	for _, e := range s.events["observations"] {
		if *e.Observation.TubeTemperature == 65 {
			*e.Observation.Reynolds *= 1.3
		}
	}
	if page := written(t, s, "sweep-1"); !strings.Contains(page, "By eye, Re rising, 4 temperatures: the critical Re is not the same at all temperatures (level 0.05)") {
		t.Error("the report does not say so")
	}
}

// TestOthersStayOut: what belongs to another experiment, or to none, is in the report
// of the whole recording alone.
func TestOthersStayOut(t *testing.T) {
	s := sweepOf(t)
	for _, e := range s.events["observations"][:3] {
		e.Observation.Experiment = "sweep-0"
	}
	s.events["observations"][3].Observation.Experiment = ""
	for experiment, want := range map[string]int{"sweep-1": 44, "": 48} {
		r, err := Load(t.Context(), s, Request{Experiment: experiment})
		if err != nil || len(r.Observations) != want {
			t.Errorf("%q: %d observations, %v; want %d", experiment, len(r.Observations), err, want)
		}
	}
}

// TestPurgedRows: an experiment whose rows are gone has a report of what is left.
func TestPurgedRows(t *testing.T) {
	s := sweepOf(t)
	s.first, s.last = began.Add(24*time.Hour), began.Add(25*time.Hour)
	page := written(t, s, "sweep-1")
	for _, want := range []string{"The rows of this time are no longer in the recording", "site and rig not known", "laminar up to 2000"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in the report", want)
		}
	}
}

func TestCreateOverwritesNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a.html")
	if err := Create(file, []byte("one")); err != nil {
		t.Fatal(err)
	}
	if err := Create(file, []byte("two")); err == nil || !strings.Contains(err.Error(), "there is a file of that name") {
		t.Errorf("written over: %v", err)
	}
	if text, err := os.ReadFile(file); err != nil || string(text) != "one" {
		t.Errorf("%q, %v", text, err)
	}
	if err := Create(filepath.Join(file, "b.html"), nil); err == nil || !strings.Contains(err.Error(), "can be written to") {
		t.Errorf("beneath a file: %v", err)
	}
}
