package config

import (
	"strings"
	"testing"
)

// TestDeadbandToTheEndOfTheRange holds that an alarm clears only beyond its
// deadband, which must lie within what the sensor measures: at the very end of
// it the value can stand and the alarm never goes.
func TestDeadbandToTheEndOfTheRange(t *testing.T) {
	ten, ninety := 10.0, 90.0
	const name = "the range of instruments.temperature"
	r := &Range{0, 100}
	for _, c := range []struct {
		above, below *float64
		deadband     float64
		clears       bool
	}{
		{&ten, nil, 9.9, true}, {&ten, nil, 10, false}, {&ten, nil, 10.1, false},
		{nil, &ninety, 9.9, true}, {nil, &ninety, 10, false}, {nil, &ninety, 10.1, false},
	} {
		a, limit := Alarm{Above: c.above, Below: c.below, Deadband: c.deadband}, ten
		if c.below != nil {
			limit = ninety
		}
		text := a.beyond(r, name, limit, Temperature)
		if (text == "") != c.clears || !c.clears && !strings.Contains(text, "it never clears within "+name+", 0 Cel to 100 Cel") {
			t.Errorf("limit %v, deadband %v: %q", limit, c.deadband, text)
		}
	}
	for _, limit := range []float64{0, 100, -1, 101} {
		for _, a := range []Alarm{{Above: &limit}, {Below: &limit}} {
			passed := a.Above != nil && limit == 0 || a.Below != nil && limit == 100
			if text := a.beyond(r, name, limit, Temperature); strings.Contains(text, "is never passed") == passed {
				t.Errorf("a limit of %v, %v: %q", limit, a.Above != nil, text)
			}
		}
	}
}
