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
	if !slices.Equal(f.Standing, []string{"broker-lost"}) || !slices.Equal(f.Stale, f.Standing) || f.Unacknowledged != 1 {
		t.Errorf("standing %v, stale %v, unseen %d", f.Standing, f.Stale, f.Unacknowledged)
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

// Putting an alarm aside is no answer to it, nor is taking it out of service; the
// wait ends with the acknowledgement. What is latched still stands.
func TestShelvingIsNoAcknowledgement(t *testing.T) {
	begin := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	at := func(seconds int) time.Time { return begin.Add(time.Duration(seconds) * time.Second) }
	f := Sum([]Event{
		{"a", Unacknowledged, "high", at(0), ""},
		{"a", Shelved, "high", at(10), "dana"},
		{"b", Unacknowledged, "high", at(0), ""},
		{"b", OutOfService, "high", at(20), "dana"},
		{"c", Unacknowledged, "high", at(0), ""},
		{"c", LatchedUnacknowledged, "high", at(5), ""},
		{"c", LatchedAcknowledged, "high", at(30), "dana"},
	}, begin, at(100))
	if f.Acknowledged != 1 || f.LongestWait == nil || *f.LongestWait != 30 {
		t.Errorf("%d acknowledged, longest wait %v; want the one after 30 s", f.Acknowledged, f.LongestWait)
	}
	if !slices.Equal(f.Standing, []string{"c"}) {
		t.Errorf("standing %v, want c", f.Standing)
	}
}

// What stands is told by name, in the same order each time.
func TestStandingIsInOrder(t *testing.T) {
	begin := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	want := []string{"a", "b", "c", "d", "e", "f", "g", "h"}
	var journal []Event
	for _, name := range slices.Backward(want) {
		journal = append(journal, Event{name, Unacknowledged, "high", begin, ""})
	}
	f := Sum(journal, begin, begin.Add(25*time.Hour))
	if !slices.Equal(f.Standing, want) || !slices.Equal(f.Stale, want) {
		t.Errorf("standing %v, stale %v", f.Standing, f.Stale)
	}
}

// An alarm is stale after a day, not before; the median is that of the waits in their
// order of length, whoever was answered first.
func TestADayAndTheMedian(t *testing.T) {
	begin := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	at := func(seconds int) time.Time { return begin.Add(time.Duration(seconds) * time.Second) }
	for hours, stale := range map[int]bool{23: false, 25: true} {
		f := Sum([]Event{{"a", Unacknowledged, "high", begin, ""}}, begin, at(3600*hours))
		if got := len(f.Stale) == 1; got != stale {
			t.Errorf("after %d h stale %v, want %v", hours, got, stale)
		}
	}
	f := Sum([]Event{
		{"a", Unacknowledged, "high", at(0), ""},
		{"a", Acknowledged, "high", at(100), "dana"},
		{"b", Unacknowledged, "high", at(100), ""},
		{"b", Acknowledged, "high", at(110), "dana"},
		{"c", Unacknowledged, "high", at(110), ""},
		{"c", Acknowledged, "high", at(130), "dana"},
	}, begin, at(200))
	if *f.MedianWait != 20 || *f.LongestWait != 100 {
		t.Errorf("median %v s, longest %v s; want 20, 100", *f.MedianWait, *f.LongestWait)
	}
}
