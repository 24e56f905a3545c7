package engine

import (
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// TestATripOfAnUnreadJournalIsEndedByAPerson: nothing watches for such an alarm,
// and the permit stays off until it is acknowledged and reset.
func TestATripOfAnUnreadJournalIsEndedByAPerson(t *testing.T) {
	const name = "journal-unread"
	b := newHeated(t, daq.SavedAlarm{Name: name, State: "latched-unacknowledged", Since: dayOne, Tripped: true})
	b.run(time.Second, 1.2, 50, 255)
	for _, verb := range []daq.Verb{daq.Acknowledge, daq.Reset} {
		if why := b.do(daq.Give, ""); !strings.Contains(why, name) {
			t.Errorf("before %s: %q, want the trip that stands", verb, why)
		}
		b.must(b.do(verb, name))
	}
	b.must(b.do(daq.Give, ""))
}
