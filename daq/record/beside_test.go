package record

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/table"
)

// What people see after a capture stands in its test point wherever it is looked up, as
// long as it is not struck; the row, and its message, stay as they were told.
func TestSeenAfterTheCapture(t *testing.T) {
	re, celsius := 1900.0, 25.0
	point := func(at time.Duration) daq.Event {
		p := &daq.TestPoint{Time: start.Add(at), Computed: "laminar"}
		p.Means[slices.Index(daq.PointQuantities[:], quantity.Reynolds)].Value = &re
		p.Means[slices.Index(daq.PointQuantities[:], quantity.TubeTemperature)].Value = &celsius
		return daq.Event{TestPoint: p}
	}
	look := func(at time.Duration, seen string, sensor bool) daq.Event {
		return daq.Event{Observation: &daq.Observation{Time: start.Add(at), Seen: seen, Sensor: sensor,
			Conditions: daq.Conditions{Reynolds: &re, TubeTemperature: &celsius}}}
	}
	r := open(t, t.TempDir(), Options{})
	tell(t, r, point(0), look(5*time.Second, "laminar", false), look(10*time.Second, "turbulent", true), // 1 to 3
		point(time.Minute), daq.Event{Note: &daq.Note{Kind: "other", Time: start, Text: "x"}}, look(65*time.Second, "transitional", false), // 4 to 6
		point(2*time.Minute), daq.Event{Note: &daq.Note{Kind: "valve", Time: start}}, look(125*time.Second, "turbulent", false)) // 7 to 9
	want := func(when string, seen ...string) {
		t.Helper()
		list, err := r.Results(t.Context(), "test-points", 99, 9)
		if err != nil || len(list) != 3 {
			t.Fatalf("%s: %s, %v", when, text(list), err)
		}
		var told, exported, csv []string
		for i, m := range list {
			if says := `"observed_regime":"` + seen[2-i] + `"`; !strings.Contains(string(m.Body), says) {
				t.Errorf("%s: %d: %s, want %s", when, m.Sequence, m.Body, says)
			}
		}
		if err := r.Events(t.Context(), "test-points", time.Time{}, time.Time{}, func(_ int64, e daq.Event) error {
			told = append(told, e.TestPoint.Observed)
			return nil
		}); err != nil || !slices.Equal(told, seen) {
			t.Errorf("%s: the report has %q, %v", when, told, err)
		}
		csv, exported = exportedPoints(t, r)
		if !slices.Equal(csv, seen) || !slices.Equal(exported, seen) {
			t.Errorf("%s: exported %q and %q", when, csv, exported)
		}
	}
	want("three points", "laminar", "transitional", "")
	if one, err := r.Results(t.Context(), "test-points", 6, 1); err != nil || len(one) != 1 || !strings.Contains(string(one[0].Body), `"observed_regime":"transitional"`) {
		t.Errorf("one alone: %s, %v", text(one), err)
	}
	tell(t, r, daq.Event{Strike: &daq.Strike{Time: start, Of: daq.KindObservation, Struck: 2, Reason: "wrong"}},
		daq.Event{Strike: &daq.Strike{Time: start, Of: daq.KindTestPoint, Struck: 6, Reason: "wrong"}})
	want("one is struck", "", "transitional", "")
	messages, err := r.Pending(t.Context(), daq.ClassEvent, 0, 99)
	for _, m := range messages {
		if strings.Contains(string(m.Body), `"kind":"test-point"`) && !strings.Contains(string(m.Body), `"observed_regime":""`) {
			t.Errorf("told anew: %s", m.Body)
		}
	}
	if err != nil || len(messages) != 11 {
		t.Errorf("%d messages, %v", len(messages), err)
	}
	held := point(10 * time.Minute)
	held.TestPoint.Observed = "laminar"
	n := tell(t, r, look(9*time.Minute, "laminar", false), held)[0]
	tell(t, r, daq.Event{Strike: &daq.Strike{Time: start, Of: daq.KindObservation, Struck: n, Reason: "wrong"}})
	if one, err := r.Results(t.Context(), "test-points", 99, 1); err != nil || len(one) != 1 || !strings.Contains(string(one[0].Body), `"observed_regime":"turbulent"`) {
		t.Errorf("what was seen before it is struck, of what was seen before that: %s, %v", text(one), err)
	}
}

// exportedPoints are the regimes by the dye as a column and in the objects.
func exportedPoints(t *testing.T, r *Recorder) (csv, objects []string) {
	t.Helper()
	export := func(form table.Form) string {
		var out strings.Builder
		if _, err := r.Export(t.Context(), &out, Export{What: "test-points", Form: form}); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	for line := range strings.Lines(export(table.Form{Columns: []string{"observed_regime"}})) {
		csv = append(csv, strings.Trim(line, "\r\n\""))
	}
	for _, m := range regexp.MustCompile(`"observed_regime":"(\w*)"`).FindAllStringSubmatch(export(table.Form{Format: "json"}), -1) {
		objects = append(objects, m[1])
	}
	return csv[1:], objects
}
