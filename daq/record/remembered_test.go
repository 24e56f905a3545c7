package record

import (
	"testing"
	"time"

	"flowrigd/daq"
)

// What a restart takes up of an experiment: its plan, its test points with a struck one
// as spoilt, its observations
// with the temperature of the inlet where that is all that is known; nothing of one that has ended.
func TestRemembered(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	re, celsius, inlet := 1500.0, 25.0, 26.0
	turn := func(action string) daq.Event {
		return daq.Event{Experiment: &daq.Experiment{Time: at, Who: "dana", ID: "one", Name: "mine", Action: action,
			Plan: []byte(`{"name":"mine","points":[{"temperature_celsius":25,"regime":"laminar","reynolds_number":1500}]}`)}}
	}
	point := func(of, spoilt string) daq.Event {
		return daq.Event{TestPoint: &daq.TestPoint{Time: at, Experiment: of, Point: "25 Cel, laminar", Spoilt: spoilt}}
	}
	dir := t.TempDir()
	rec, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	rec.Put(daq.Batch{Events: []daq.Event{turn("started"), point("one", ""), point("other", ""), point("one", "not steady"),
		{Strike: &daq.Strike{Time: at, Who: "dana", Of: daq.KindTestPoint, Struck: 2, Reason: "air"}},
		{Observation: &daq.Observation{Time: at, Experiment: "one", Seen: "laminar", Approach: "rising", Conditions: daq.Conditions{Reynolds: &re, TubeTemperature: &celsius}}},
		{Observation: &daq.Observation{Time: at, Experiment: "one", Seen: "turbulent", Conditions: daq.Conditions{Reynolds: &re, Temperature: &inlet}}},
		{Observation: &daq.Observation{Time: at, Experiment: "one", Seen: "turbulent", Conditions: daq.Conditions{Reynolds: &re}}}}})
	if err := rec.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	read := func() *daq.Remembered {
		r, err := OpenReader(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		got, err := r.remembered(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	got := read()
	if got == nil || got.ID != "one" || len(got.Plan.Points) != 1 || got.Plan.Points[0].Name() != "25 Cel, laminar" || len(got.Points) != 2 ||
		got.Points[0].Spoilt != "struck" || got.Points[1].Spoilt != "not steady" || len(got.Observations) != 2 || got.Observations[0].Reynolds != 1500 || got.Observations[0].Celsius != 25 || got.Observations[1].Celsius != 26 {
		t.Fatalf("%+v", got)
	}
	if rec, err = Open(dir, Options{}); err != nil {
		t.Fatal(err)
	}
	rec.Put(daq.Batch{Events: []daq.Event{turn("done")}})
	if err := rec.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := read(); got != nil {
		t.Errorf("%+v", got)
	}
}
