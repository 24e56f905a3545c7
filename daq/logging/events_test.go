package logging

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"

	"flowrigd/daq"
)

// TestTheLogSaysWhatAlarmsDo holds the lines of an alarm, its acknowledgement
// and the permit, and that nothing in them moves a terminal.
func TestTheLogSaysWhatAlarmsDo(t *testing.T) {
	value, limit := 76.5, 75.0
	for _, c := range []struct {
		event daq.Event
		want  string
	}{
		{daq.Event{Alarm: &daq.AlarmEvent{Name: "water-overheat", State: "unacknowledged", Priority: "high", Value: &value, Limit: &limit, Cause: "The water is hot.", Tripped: true}},
			`level=WARN msg=alarm name=water-overheat state=unacknowledged priority=high value=76.5 limit=75 trips=true cause="The water is hot."`},
		{daq.Event{Alarm: &daq.AlarmEvent{Name: "fast-flow", State: "acknowledged", Priority: "low", Who: "night\x1b[2J"}},
			`level=INFO msg=alarm name=fast-flow state=acknowledged priority=low who="night\x1b[2J"`},
		{daq.Event{Note: &daq.Note{Kind: "permit", Text: "heating permit dropped: alarm water-overheat"}},
			`level=WARN msg="heating permit dropped: alarm water-overheat"`},
		{daq.Event{Note: &daq.Note{Kind: "permit", Who: "night", Text: "heating permit given"}},
			`level=INFO msg="heating permit given" who=night`},
		{daq.Event{Note: &daq.Note{Kind: "refused", Who: "somebody", Text: "no token"}}, ""},
	} {
		var out bytes.Buffer
		Event(slog.New(slog.NewTextHandler(&out, nil)), c.event.Message("", 0))
		_, got, _ := strings.Cut(strings.TrimSpace(out.String()), " ")
		if got != c.want {
			t.Errorf("the log says\n%s\nwant\n%s", got, c.want)
		}
	}
}
