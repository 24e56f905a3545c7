package alarm

import (
	"maps"
	"slices"
	"time"
)

// The figures of ANSI/ISA-18.2 clause 16 and IEC 62682 that a rig's journal can
// give; a standing alarm is stale after a day, and one chatters that is set
// three times within a minute (both from secondary sources).
const (
	staleAfter    = 24 * time.Hour
	chatterWithin = time.Minute
	chatterCount  = 3
)

// Event is one transition in the journal, as figures need it.
type Event struct {
	Name     string
	State    State
	Priority string
	Time     time.Time
	By       string // the person; "" when it came by itself
}

// Figures sum up a journal.
type Figures struct {
	From           time.Time      `json:"from"`
	To             time.Time      `json:"to"`
	Raised         int            `json:"raised"`
	ByPriority     map[string]int `json:"raised_by_priority"`
	Standing       []string       `json:"standing"`   // or latched, at the end
	Stale          []string       `json:"stale"`      // of those, for more than a day
	Chattering     []string       `json:"chattering"` // at any time
	Unacknowledged int            `json:"unacknowledged"`

	Acknowledged int      `json:"acknowledged"`
	MedianWait   *float64 `json:"median_seconds_to_acknowledge"`
	LongestWait  *float64 `json:"longest_seconds_to_acknowledge"`
}

// life is what figures remember of one alarm.
type life struct {
	state  State
	raised time.Time
	sets   []time.Time
}

// Sum makes the figures of a journal in its order. What stood before its first
// event is not known to it.
func Sum(events []Event, from, to time.Time) Figures {
	f := Figures{From: from, To: to, ByPriority: map[string]int{}, Standing: []string{}, Stale: []string{}, Chattering: []string{}}
	lives := map[string]*life{}
	var waits []float64
	for _, e := range events {
		l := lives[e.Name]
		if l == nil {
			l = &life{}
			lives[e.Name] = l
		}
		if wait, seen := l.take(e); seen {
			waits = append(waits, wait)
		}
		f.count(e, l)
	}
	f.end(lives, to)
	f.waits(waits)
	return f
}

// take moves one alarm on; it gives the seconds from raised to acknowledged.
func (l *life) take(e Event) (wait float64, seen bool) {
	seen = l.state.NeedsAcknowledge() && !e.State.NeedsAcknowledge() && !e.State.Silenced() && e.By != "" && !l.raised.IsZero()
	if seen {
		wait = e.Time.Sub(l.raised).Seconds()
	}
	if e.State == Unacknowledged {
		l.raised = e.Time
		l.sets = append(l.sets, e.Time)
	}
	l.state = e.State
	return wait, seen
}

func (f *Figures) count(e Event, l *life) {
	if e.State != Unacknowledged {
		return
	}
	f.Raised++
	f.ByPriority[e.Priority]++
	n := len(l.sets)
	if n >= chatterCount && e.Time.Sub(l.sets[n-chatterCount]) <= chatterWithin && !slices.Contains(f.Chattering, e.Name) {
		f.Chattering = append(f.Chattering, e.Name)
	}
}

func (f *Figures) end(lives map[string]*life, to time.Time) {
	for _, name := range slices.Sorted(maps.Keys(lives)) {
		l := lives[name]
		if l.state.NeedsAcknowledge() {
			f.Unacknowledged++
		}
		if !l.state.Stands() {
			continue
		}
		f.Standing = append(f.Standing, name)
		if to.Sub(l.raised) > staleAfter {
			f.Stale = append(f.Stale, name)
		}
	}
}

func (f *Figures) waits(waits []float64) {
	f.Acknowledged = len(waits)
	if len(waits) == 0 {
		return
	}
	slices.Sort(waits)
	median, longest := waits[len(waits)/2], waits[len(waits)-1]
	if n := len(waits); n%2 == 0 {
		median = (waits[n/2-1] + waits[n/2]) / 2
	}
	f.MedianWait, f.LongestWait = &median, &longest
}
