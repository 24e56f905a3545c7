package web

import (
	"context"
	"encoding/json"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// bookHistory is what is written down of two experiments.
type bookHistory struct {
	fakeHistory
	lists map[string][]daq.Event // by what, the oldest first
}

func (h bookHistory) Results(_ context.Context, what string, _ int64, limit int) (list []daq.Message, err error) {
	for i := len(h.lists[what]) - 1; i >= 0 && len(list) < limit; i-- {
		list = append(list, h.lists[what][i].Message("5a9c", int64(i+1)))
	}
	return list, nil
}

// TestEachExperimentIsListedOnce holds that an experiment is one object with its newest
// state, however many transitions and test points it has.
func TestEachExperimentIsListedOnce(t *testing.T) {
	plan, err := json.Marshal(config.Plan{Name: "warm", Points: []config.PlannedPoint{{Temperature: 25, Reynolds: 1500}, {Temperature: 40, Reynolds: 3000}}})
	must(t, err)
	at := func(n int) time.Time { return time.Date(2031, 5, 6, 7, n, 0, 0, time.UTC) }
	moved := func(id, action string, n int) daq.Event {
		return daq.Event{Experiment: &daq.Experiment{Time: at(n), Who: "ada", ID: id, Name: "warm", Action: action, Plan: plan}}
	}
	point := func(id, name, spoilt string) daq.Event {
		return daq.Event{TestPoint: &daq.TestPoint{Time: at(9), Experiment: id, Point: name, Spoilt: spoilt}}
	}
	b := testBed(t, func(o *Options) {
		o.History = bookHistory{lists: map[string][]daq.Event{
			"experiments": {moved("a", "started", 1), moved("a", "done", 2), moved("b", "started", 3)},
			"test-points": {point("a", "25 Cel, Re 1500", ""), point("a", "40 Cel, Re 3000", ""), point("b", "25 Cel, Re 1500", "not steady"),
				point("b", "40 Cel, Re 3000", ""), point("b", "by hand", ""), point("b", "25 Cel, Re 1500", "")},
			"strikes": {{Strike: &daq.Strike{Of: daq.KindTestPoint, Struck: 6, Reason: "the wrong tube"}}, {Strike: &daq.Strike{Of: daq.KindObservation, Struck: 1, Reason: "x"}}},
		}}
	})
	status, _, text := b.ask("GET", "/api/experiments", "", "")
	var answer struct {
		Experiments []struct {
			ID, Name, Action, Started, Who string
			Ended                          *string
			Sequence                       int64
			Points                         pointCount
			Plan                           config.Plan
			Transitions                    []json.RawMessage
		}
	}
	if err := json.Unmarshal([]byte(text), &answer); status != 200 || err != nil || len(answer.Experiments) != 2 {
		t.Fatalf("%d %s", status, text)
	}
	b2, a := answer.Experiments[0], answer.Experiments[1]
	if b2.ID != "b" || b2.Action != "started" || b2.Ended != nil || b2.Started != daq.FormatTime(at(3)) || b2.Points != (pointCount{2, 1, 4}) || b2.Sequence != 3 || len(b2.Transitions) != 1 {
		t.Errorf("the one that runs: %+v", b2)
	}
	if a.ID != "a" || a.Action != "done" || a.Ended == nil || *a.Ended != daq.FormatTime(at(2)) || a.Started != daq.FormatTime(at(1)) || a.Points != (pointCount{2, 2, 2}) || len(a.Transitions) != 2 || len(a.Plan.Points) != 2 || a.Name != "warm" || a.Who != "ada" {
		t.Errorf("the one that is done: %+v", a)
	}
	if _, _, text := b.ask("GET", "/api/experiments?limit=1", "", ""); len(text) == 0 || json.Unmarshal([]byte(text), &answer) != nil || len(answer.Experiments) != 1 {
		t.Errorf("limit=1: %s", text)
	}
}
