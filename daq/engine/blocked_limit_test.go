package engine

import (
	"testing"

	"flowrigd/calc/pipe"
	"flowrigd/daq/alarm"
)

// A rise counts above 2 %, or above five standard errors of the means; a coefficient
// that lies as far below, of a rig at rest, is what is compared with from then on.
func TestWhatCountsAsABlockage(t *testing.T) {
	for _, c := range []struct {
		k, u   float64 // of now, against 100
		steady bool
		want   alarm.Condition
		base   float64 // afterwards
	}{
		{101.9, 0, true, alarm.Clear, 100},
		{102.1, 0, true, alarm.Set, 100},
		{104.5, 1, true, alarm.Clear, 100},
		{105.5, 1, true, alarm.Set, 100},
		{98.1, 0, true, alarm.Clear, 100},
		{97.9, 0, true, alarm.Clear, 97.9},
		{90, 0, false, alarm.Clear, 100},
	} {
		l := losses{base: pipe.Loss{K: 100, Flow: 1e-5}, u: c.u}
		if got := l.judge(pipe.Loss{K: c.k, Flow: 1e-5}, c.steady, false); got != c.want || l.base.K != c.base {
			t.Errorf("%+v: %v, compared with %v", c, got, l.base.K)
		}
	}
}
