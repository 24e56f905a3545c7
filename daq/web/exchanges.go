package web

import (
	"sync"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// exchange sums up the talk with one instrument.
type exchange struct {
	Reads, Faults uint64
	Good          time.Time     // when the last clean answer came, by the rig's wall clock; zero: never
	Took          time.Duration // of the last one
	Fault         string        // the last fault; "" for none
	FaultAt       time.Time
}

// exchanges are those of all instruments since the start.
type exchanges struct {
	mu   sync.Mutex
	list [quantity.Count]exchange
}

func (e *exchanges) observe(r daq.Reading, now time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	x := &e.list[r.Instrument]
	x.Reads++
	x.Took = r.Took
	if r.Reason == "" {
		x.Good = now
		return
	}
	x.Faults++
	x.Fault, x.FaultAt = string(r.Reason), now
	if r.Error != "" {
		x.Fault = r.Error
	}
}

func (e *exchanges) all() [quantity.Count]exchange {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.list
}

// youngAge is how old a reading may be without a word of it: a person sees no
// difference.
const youngAge = 1500 * time.Millisecond

// ageOf says how old the last clean answer is; "" where none came.
func ageOf(x exchange, now time.Time) string {
	switch age := now.Sub(x.Good); {
	case x.Good.IsZero():
		return ""
	case age < youngAge:
		return "just now"
	default:
		return roughly(age.Seconds()) + " old"
	}
}
