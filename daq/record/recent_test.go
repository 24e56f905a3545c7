package record

import (
	"context"
	"fmt"
	"reflect"
	"testing"

	"flowrigd/daq"
)

// What is at hand is byte for byte what the database gives, and what is not at
// hand comes from the database.
func TestRecentEventsAreThoseOfTheDatabase(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	const each = recentLimit / 2 // at hand of two classes
	for i := range 2*each + 5 {
		tell(t, r, raise("water-overheat", "unacknowledged", i), daq.Event{Note: &daq.Note{Kind: "other", Time: start, Text: fmt.Sprint(i)}})
	}
	newest := int64(2*each + 5)
	for _, class := range []daq.Class{daq.ClassAlarm, daq.ClassEvent} {
		for _, after := range []int64{0, 1, newest - each - 1, newest - each, newest - each + 1, newest - 2, newest - 1, newest, newest + 3} {
			for _, limit := range []int{1, 3, 32, 1000} {
				got, err := r.Pending(context.Background(), class, after, limit)
				want, err2 := r.Reader.Pending(context.Background(), class, after, limit)
				if err != nil || err2 != nil || len(got) != len(want) || len(got) > 0 && !reflect.DeepEqual(got, want) {
					t.Errorf("%s after %d, at most %d: %v, %v\nwant %v, %v", class, after, limit, text(got), err, text(want), err2)
				}
			}
			if _, ok := r.AtHand(class, after, 32); ok != (after >= newest-each) {
				t.Errorf("%s after %d of %d at hand: %v", class, after, newest, ok)
			}
		}
	}
}

func text(list []daq.Message) (s string) {
	for _, m := range list {
		s += fmt.Sprintf("%d %s %s\n", m.Sequence, m.Name, m.Body)
	}
	return s
}
