package alarm

import (
	"slices"
	"testing"
	"time"
)

func TestFigures(t *testing.T) {
	from := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	at := func(d time.Duration) time.Time { return from.Add(d) }
	journal := []Event{
		{"head-lost", Unacknowledged, "high", at(0), ""},
		{"head-lost", Acknowledged, "high", at(30 * time.Second), "dana"},
		{"head-lost", LatchedAcknowledged, "high", at(time.Minute), ""},
		{"head-lost", Normal, "high", at(2 * time.Minute), "dana"},
		{"broker-lost", Unacknowledged, "medium", at(time.Hour), ""},
		{"fast-flow", Unacknowledged, "low", at(2 * time.Hour), ""},
		{"fast-flow", ReturnedUnacknowledged, "low", at(2*time.Hour + 10*time.Second), ""},
		{"fast-flow", Unacknowledged, "low", at(2*time.Hour + 20*time.Second), ""},
		{"fast-flow", ReturnedUnacknowledged, "low", at(2*time.Hour + 30*time.Second), ""},
		{"fast-flow", Unacknowledged, "low", at(2*time.Hour + 60*time.Second), ""},
		{"fast-flow", ReturnedUnacknowledged, "low", at(2*time.Hour + 70*time.Second), ""},
		{"fast-flow", Normal, "low", at(2*time.Hour + 160*time.Second), "dana"},
	}
	f := Sum(journal, from, at(26*time.Hour))
	if f.Raised != 5 || f.ByPriority["high"] != 1 || f.ByPriority["medium"] != 1 || f.ByPriority["low"] != 3 {
		t.Errorf("raised %d, %v", f.Raised, f.ByPriority)
	}
	if !slices.Equal(f.Standing, []string{"broker-lost"}) || !slices.Equal(f.Stale, f.Standing) || f.Unseen != 1 {
		t.Errorf("standing %v, stale %v, unseen %d", f.Standing, f.Stale, f.Unseen)
	}
	if !slices.Equal(f.Chattering, []string{"fast-flow"}) {
		t.Errorf("chattering %v", f.Chattering)
	}
	if f.Acknowledged != 2 || *f.MedianWait != 65 || *f.LongestWait != 100 {
		t.Errorf("acknowledged %d, median %v s, longest %v s; want 2, 65, 100", f.Acknowledged, *f.MedianWait, *f.LongestWait)
	}
	if none := Sum(nil, from, from); none.MedianWait != nil || none.Raised != 0 || none.Standing == nil {
		t.Errorf("an empty journal gives %+v", none)
	}
}
