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
func TestRecentAlarmsAreThoseOfTheDatabase(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	for i := range 2*recentAlarms + 5 {
		tell(t, r, raise("water-overheat", "unacknowledged", i))
	}
	newest := int64(2*recentAlarms + 5)
	for _, after := range []int64{0, 1, newest - recentAlarms - 1, newest - recentAlarms, newest - recentAlarms + 1, newest - 2, newest - 1, newest, newest + 3} {
		for _, limit := range []int{1, 3, 32, 1000} {
			got, err := r.Pending(context.Background(), daq.ClassAlarm, after, limit)
			want, err2 := r.Reader.Pending(context.Background(), daq.ClassAlarm, after, limit)
			if err != nil || err2 != nil || len(got) != len(want) || len(got) > 0 && !reflect.DeepEqual(got, want) {
				t.Errorf("after %d, at most %d: %v, %v\nwant %v, %v", after, limit, text(got), err, text(want), err2)
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
