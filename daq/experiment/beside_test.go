package experiment

import (
	"slices"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

func numbered(v float64) *float64 { return &v }

// pointAt is a test point of a minute at 25 °C whose torn share is 0.5, and look what a
// person saw so long after it.
func pointAt(re float64) *daq.TestPoint {
	p := &daq.TestPoint{Time: nine, Experiment: "one", Seconds: 60, Observed: "recorded"}
	for id, m := range map[quantity.ID]daq.Mean{quantity.Reynolds: {Value: numbered(re), Expanded: numbered(0.02 * re)},
		quantity.TubeTemperature: {Value: numbered(25)}, quantity.DisturbedFraction: {Value: numbered(0.5)}} {
		p.Means[slices.Index(daq.PointQuantities[:], id)] = m
	}
	return p
}

func look(sequence int64, after time.Duration, seen string, change ...func(*Look)) Look {
	l := Look{Sequence: sequence, Of: &daq.Observation{Time: nine.Add(after), Experiment: "one", Seen: seen,
		Conditions: daq.Conditions{Reynolds: numbered(2000), TubeTemperature: numbered(25)}}}
	for _, c := range change {
		c(&l)
	}
	return l
}

func struck(l *Look)  { l.Struck = true }
func faster(l *Look)  { l.Of.Reynolds = numbered(2061) }
func warmer(l *Look)  { l.Of.TubeTemperature = numbered(27.1) }
func another(l *Look) { l.Of.Experiment = "two" }
func none(l *Look)    { l.Of.Experiment = "" }
func nowhere(l *Look) { l.Of.Reynolds = nil }

// What a person sees after a capture is of its test point, as long as nothing was captured,
// touched or changed since, and for two minutes; what was struck is not.
func TestSeenAfterTheCapture(t *testing.T) {
	const after = 5 * time.Second
	for _, c := range []struct {
		name, want string
		looks      []Look
		ends       []int64
	}{
		{"nothing", "recorded", nil, []int64{10}},
		{"after", "laminar", []Look{look(11, after, "laminar")}, []int64{10}},
		{"the newest", "turbulent", []Look{look(11, after, "laminar"), look(12, 2*after, "turbulent")}, []int64{10}},
		{"the newest is struck", "laminar", []Look{look(11, after, "laminar"), look(12, 2*after, "turbulent", struck)}, []int64{10}},
		{"struck after", "recorded", []Look{look(11, after, "laminar", struck)}, []int64{10}},
		{"two minutes", "laminar", []Look{look(11, 2*time.Minute, "laminar")}, []int64{10}},
		{"later", "recorded", []Look{look(11, 2*time.Minute+time.Second, "laminar")}, []int64{10}},
		{"behind the next capture or the valve", "recorded", []Look{look(12, after, "laminar")}, []int64{10, 11}},
		{"before it", "laminar", []Look{look(11, after, "laminar"), look(13, after, "turbulent")}, []int64{4, 10, 12}},
		{"the point is not among the ends", "laminar", []Look{look(11, after, "laminar"), look(13, after, "turbulent")}, []int64{4, 12}},
		{"another flow", "recorded", []Look{look(11, after, "laminar", faster)}, []int64{10}},
		{"another temperature", "recorded", []Look{look(11, after, "laminar", warmer)}, []int64{10}},
		{"another experiment", "recorded", []Look{look(11, after, "laminar", another)}, []int64{10}},
		{"when its last condition has ended it", "laminar", []Look{look(11, after, "laminar", none)}, []int64{10}},
		{"struck, before the experiment began", "recorded", []Look{look(9, -after, "laminar", none, struck)}, []int64{10}},
		{"unknown flow", "recorded", []Look{look(11, after, "laminar", nowhere)}, []int64{10}},
		{"before the capture", "recorded", []Look{look(9, -after, "laminar")}, []int64{10}},
		{"struck before the capture", "transitional", []Look{look(9, -after, "laminar", struck)}, []int64{10}},
		{"the one before that", "turbulent", []Look{look(8, -2*after, "turbulent"), look(9, -after, "laminar", struck)}, []int64{10}},
		{"of another flow, struck", "recorded", []Look{look(9, -after, "laminar", struck, faster)}, []int64{10}},
	} {
		b := &Beside{Looks: c.looks, Ends: c.ends}
		if got := b.Observed(10, pointAt(2000)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	b := &Beside{Looks: []Look{look(11, after, "laminar")}, Ends: []int64{10}}
	if got := b.Observed(10, &daq.TestPoint{Time: nine, Experiment: "one", Observed: "recorded"}); got != "recorded" {
		t.Errorf("a point whose Re is unknown: %q", got)
	}
	dark := pointAt(2000)
	dark.Means[slices.Index(daq.PointQuantities[:], quantity.DisturbedFraction)] = daq.Mean{}
	if got := (&Beside{Looks: []Look{look(9, -after, "laminar", struck)}}).Observed(10, dark); got != "" {
		t.Errorf("struck, without the light: %q", got)
	}
}
