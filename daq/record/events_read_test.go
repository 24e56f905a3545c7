package record

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"flowrigd/daq"
)

// TestEvents: by kind, between two times, with their sequences; the first error ends it.
func TestEvents(t *testing.T) {
	r := recordTen(t)
	read := func(what string, from, to time.Time) (got []int64) {
		t.Helper()
		if err := r.Events(t.Context(), what, from, to, func(n int64, e daq.Event) error {
			if (what == "notes") != (e.Note != nil) {
				t.Errorf("%s: %+v", what, e)
			}
			got = append(got, n)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return got
	}
	var never time.Time
	if got := read("notes", never, never); !slices.Equal(got, []int64{1}) {
		t.Errorf("notes %v", got)
	}
	if got := read("notes", never, start); got != nil {
		t.Errorf("notes before the first: %v", got)
	}
	if got := read("alarms", never, never); len(got) != 1 {
		t.Errorf("alarms %v", got)
	}
	if got := read("test-points", never, never); got != nil {
		t.Errorf("test points %v", got)
	}
	stop := errors.New("enough")
	if err := r.Events(t.Context(), "notes", never, never, func(int64, daq.Event) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("the error of who reads: %v", err)
	}
	if err := r.Events(t.Context(), "poems", never, never, nil); err == nil || !strings.Contains(err.Error(), `no "poems"`) {
		t.Errorf("poems: %v", err)
	}
}

// TestSpan: the first and the last row, and the configurations between two times.
func TestSpan(t *testing.T) {
	r := recordTen(t)
	first, last, err := r.Span(t.Context())
	if err != nil || !first.Equal(tick(1).Input.Wall.Truncate(time.Microsecond)) || !last.Equal(tick(10).Input.Wall.Truncate(time.Microsecond)) {
		t.Errorf("%v to %v, %v", first, last, err)
	}
	for _, c := range []struct {
		from, to time.Time
		want     int
	}{{first, last, 1}, {last, last, 1}, {last.Add(time.Second), last.Add(time.Hour), 0}} {
		if got, err := r.Configurations(t.Context(), c.from, c.to); err != nil || len(got) != c.want {
			t.Errorf("%v to %v: %v, %v", c.from, c.to, got, err)
		}
	}
	empty := open(t, t.TempDir(), Options{})
	if first, last, err := empty.Span(t.Context()); err != nil || !first.IsZero() || !last.IsZero() {
		t.Errorf("of nothing: %v to %v, %v", first, last, err)
	}
}
