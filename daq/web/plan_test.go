package web

import (
	"slices"
	"strings"
	"testing"

	"flowrigd/daq"
)

// running is a rig in an experiment of five conditions.
func running() *daq.State {
	s := steadyState()
	left := 754.0
	s.Experiment = &daq.Progress{ID: "e1", Name: "four <b>temperatures</b>", Next: "Set the flow to 1.2 L/min.", Remaining: &left, Points: []daq.PointOutlook{
		{Number: 1, Name: "25 Cel, laminar", Flow: 1e-5, State: daq.PointCaptured}, {Number: 2, Name: "25 Cel, turbulent", Flow: 5e-5, State: daq.PointSpoilt},
		{Number: 3, Name: "40 Cel, Re 1500", State: daq.PointNow}, {Number: 4, State: daq.PointWaiting}, {Number: 5, State: daq.PointWaiting}}}
	return s
}

// TestExperimentOnThePage: how far it is, and what to do next in place of what a rig
// without a plan asks for; an alarm comes first.
func TestExperimentOnThePage(t *testing.T) {
	v := planOf(running())
	if v.Marks != "●✕◐○○" || v.Count != "1 of 5 captured, 1 spoilt and to be taken again" || v.Left != "about 13 min left" ||
		strings.ReplaceAll(v.Points[0].Set, "\u00a0", " ") != "0.600 L/min" || v.Points[2].Set != unknown {
		t.Errorf("%+v", v)
	}
	if got := adviceOf(running(), nil); !slices.Equal(got, []string{"Set the flow to 1.2 L/min."}) {
		t.Errorf("advice %q", got)
	}
	hot := hotState()
	hot.Experiment = running().Experiment
	if got := adviceOf(hot, nil); slices.Contains(got, "Set the flow to 1.2 L/min.") {
		t.Errorf("in alarm: %q", got)
	}
	many := running()
	many.Experiment.Points = slices.Repeat(many.Experiment.Points, 20)
	if v := planOf(many); v.Marks != "" || len(v.Points) != 100 || !strings.HasPrefix(v.Count, "20 of 100") {
		t.Errorf("%d points: %q, %q", len(v.Points), v.Marks, v.Count)
	}
	b := testBed(t, func(o *Options) { o.Facts.Plans = []string{"four temperatures"} })
	b.rig.set(func(f *fakeRig) { f.state = running() })
	_, _, page := b.ask("GET", "/", "", "")
	for _, want := range []string{`data-stop="e1"`, "four &lt;b&gt;temperatures", "<option>four temperatures</option>", "●✕◐○○"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
}
