package record

import (
	"fmt"
	"time"

	"flowrigd/daq"
)

// The queue's policy while the disk does not answer: inputs are refused beyond
// maxInputs (some 15 minutes of a busy rig), rows beyond maxRows (two hours at
// one a second), events hardly ever. What came first stays, so that what is on
// disk afterwards has one gap, at its end. Every refusal is counted, and a note
// of kind "gap" says so in the recording.
const (
	maxInputs = 20000
	maxRows   = 7200
	maxEvents = 200000
	chunkSize = 1000 // steps in one transaction, so that a backlog holds up no alarm for long
)

// Drops counts what the queue had to refuse.
type Drops struct {
	Inputs, Rows, Events int64
}

// admit applies the policy and counts.
func (q *queue) admit(s step) entry {
	e := entry{step: s, hasInput: s.Input.Number > 0}
	if n := s.Input.Number; n > 0 {
		if q.newest > 0 && n > q.newest+1 {
			q.missed += n - q.newest - 1
		}
		q.newest = n
	}
	if e.hasInput && q.inputs >= maxInputs && !begins(s.Batch) {
		e.hasInput = false
		q.dropped.Inputs++
	} else if e.hasInput {
		q.inputs++
	}
	if e.State != nil && q.rows >= maxRows {
		e.State = nil
		q.dropped.Rows++
	} else if e.State != nil {
		q.rows++
	}
	if q.events+len(e.Events) > maxEvents {
		q.dropped.Events += int64(len(e.Events))
		e.Events, e.waits = nil, nil
	}
	q.events += len(e.Events)
	return e
}

// gap is the notes on what is not in the recording since the last ones.
func (q *queue) gap(now time.Time) (notes []entry) {
	note := func(text string) {
		n := &daq.Note{Kind: "gap", Time: now.UTC(), Text: text}
		q.events++
		notes = append(notes, entry{step: step{Batch: daq.Batch{Events: []daq.Event{{Note: n}}}}})
	}
	if q.missed > 0 {
		note(fmt.Sprintf("the recording was opened late: %d inputs before this, and the rows of that time, are not in it", q.missed))
		q.missed = 0
	}
	lost := Drops{q.dropped.Inputs - q.noted.Inputs, q.dropped.Rows - q.noted.Rows, q.dropped.Events - q.noted.Events}
	q.noted = q.dropped
	if lost != (Drops{}) {
		note(fmt.Sprintf("the disk did not keep up: %d inputs, %d rows and %d events before this are not in the recording", lost.Inputs, lost.Rows, lost.Events))
	}
	return notes
}
