package experiment

import (
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// How far the notebook looks back, and the most intervals that it keeps of that.
const (
	pastSpan = 15 * time.Minute
	pastMost = 18000
)

// interval is one state: the quantities of a test point, NaN where unknown.
type interval struct {
	at     time.Duration // monotonic
	values [len(daq.PointQuantities)]float64
}

// past holds the last intervals. Its zero value keeps one.
type past struct {
	limit int
	kept  []interval // in the order of time from next on
	next  int        // the oldest, once it is full
}

func (p *past) add(s *daq.State) {
	one := interval{at: s.Mono}
	for i, id := range daq.PointQuantities {
		v, known := s.Values.Get(id)
		if !known {
			v = math.NaN()
		}
		one.values[i] = v
	}
	if len(p.kept) > p.limit { // a reload made it shorter
		p.kept = slices.Clone(p.ordered()[len(p.kept)-p.limit:])
		p.next = 0
	}
	switch {
	case len(p.kept) < p.limit && p.next == 0:
		p.kept = append(p.kept, one)
	case len(p.kept) < p.limit: // a reload made it longer
		p.kept, p.next = append(p.ordered(), one), 0
	default:
		p.kept[p.next] = one
		p.next = (p.next + 1) % len(p.kept)
	}
}

// ordered are the intervals, the oldest first.
func (p *past) ordered() []interval { return append(slices.Clone(p.kept[p.next:]), p.kept[:p.next]...) }

// between are the intervals of an ordered list after one time and up to another.
func between(list []interval, from, to time.Duration) []interval {
	after := func(t time.Duration) int {
		i, _ := slices.BinarySearchFunc(list, t, func(one interval, t time.Duration) int {
			if one.at <= t {
				return -1
			}
			return 1
		})
		return i
	}
	return list[after(from):max(after(from), after(to))]
}

// oldest is the time of the first interval kept; false without one.
func (p *past) oldest() (time.Duration, bool) {
	if len(p.kept) == 0 {
		return 0, false
	}
	return p.kept[p.next%len(p.kept)].at, true
}

// column are the values of one quantity; false where one of them is unknown.
func column(list []interval, id quantity.ID) ([]float64, bool) {
	i := slices.Index(daq.PointQuantities[:], id)
	values := make([]float64, len(list))
	for k := range list {
		values[k] = list[k].values[i]
		if math.IsNaN(values[k]) {
			return nil, false
		}
	}
	return values, len(values) > 0
}

// average is the plain mean of a quantity; false where it is not known throughout.
func average(list []interval, id quantity.ID) (float64, bool) {
	values, known := column(list, id)
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values)), known
}
