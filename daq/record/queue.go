package record

import (
	"sync"
	"time"

	"flowrigd/daq"
)

type markKey struct {
	destination string
	class       daq.Class
}

// step is a step of the engine, and who waits for its events.
type step struct {
	daq.Batch
	waits *waiting // nil: nobody
}

// entry is a step on its way to the disk, without what was refused of it.
type entry struct {
	step
	hasInput bool
}

// chunk is what one transaction writes.
type chunk struct {
	entries []entry
	marks   map[markKey]int64
}

func (c *chunk) empty() bool {
	return len(c.entries) == 0 && len(c.marks) == 0
}

type queue struct {
	nudge chan struct{} // holds one token when there is a reason to look

	mu      sync.Mutex
	next    chunk
	taken   int // steps the writer is at
	inputs  int
	rows    int
	events  int
	urgent  bool
	oldest  time.Time // when the first thing now waiting came
	row     time.Time // when the first row now waiting came
	dropped Drops
	noted   Drops  // what gap notes have told of
	newest  uint64 // number of the newest input
	missed  uint64 // inputs that were never put, not noted yet
	marked  map[markKey]int64
	closed  bool // nothing is taken any more
}

func newQueue() *queue {
	return &queue{nudge: make(chan struct{}, 1), marked: map[markKey]int64{}, next: chunk{marks: map[markKey]int64{}}}
}

func (q *queue) put(s step, now time.Time) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return false
	}
	e := q.admit(s)
	if !e.hasInput && e.State == nil && len(e.Events) == 0 {
		return true
	}
	q.next.entries = append(q.next.entries, e)
	q.urgent = q.urgent || len(e.Events) > 0
	first := e.State != nil && q.row.IsZero()
	if first {
		q.row = now
	}
	q.touch(now, first)
	return true
}

// giveBack puts a chunk that was not written in front again.
func (q *queue) giveBack(c *chunk) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.next.entries, q.taken = append(c.entries, q.next.entries...), 0
}

// takeBack empties the queue for good.
func (q *queue) takeBack() []step {
	q.mu.Lock()
	defer q.mu.Unlock()
	list := make([]step, len(q.next.entries))
	for i, e := range q.next.entries {
		list[i] = e.step
	}
	q.next.entries, q.closed = nil, true
	return list
}

func (q *queue) mark(key markKey, sequence int64, now time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if sequence <= q.marked[key] {
		return
	}
	q.marked[key] = sequence
	q.next.marks[key] = sequence
	q.touch(now, false)
}

// newestMark is the newest mark given in this process, 0 without one.
func (q *queue) newestMark(key markKey) int64 {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.marked[key]
}

// touch starts the time until the next commit, and wakes the writer where it
// must begin to count, to write sooner, or to write at once.
func (q *queue) touch(now time.Time, sooner bool) {
	first := q.oldest.IsZero()
	if first {
		q.oldest = now
	}
	if !first && !sooner && !q.urgent {
		return
	}
	select {
	case q.nudge <- struct{}{}:
	default:
	}
}

// hurry makes what waits due at once.
func (q *queue) hurry(now time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.oldest.IsZero() {
		return
	}
	q.urgent = true
	q.touch(now, false)
}

// due is the time until the next commit; negative when nothing waits. A row is written
// after half of durable_within, which leaves the other half for the commit itself; inputs
// and marks alone wait for nearly all of it, and so mostly go with the next row.
func (q *queue) due(now time.Time, durableWithin time.Duration) time.Duration {
	q.mu.Lock()
	defer q.mu.Unlock()
	switch {
	case q.oldest.IsZero():
		return -1
	case q.urgent:
		return 0
	}
	due := durableWithin*19/20 - now.Sub(q.oldest)
	if !q.row.IsZero() {
		due = min(due, durableWithin/2-now.Sub(q.row))
	}
	return max(0, due)
}

// take hands over what the next transaction writes.
func (q *queue) take(now time.Time) chunk {
	q.mu.Lock()
	defer q.mu.Unlock()
	c := q.next
	n := min(len(c.entries), chunkSize)
	rest := c.entries[n:]
	c.entries = c.entries[:n:n]
	q.next = chunk{append([]entry(nil), rest...), map[markKey]int64{}}
	if len(rest) == 0 {
		c.entries = append(c.entries, q.gap(now)...)
		q.oldest, q.row, q.urgent = time.Time{}, time.Time{}, false
	}
	q.taken = len(c.entries)
	return c
}

// written makes room for what is on disk now.
func (q *queue) written(c *chunk) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.taken = 0
	for i := range c.entries {
		e := &c.entries[i]
		q.events -= len(e.Events)
		if e.hasInput {
			q.inputs--
		}
		if e.State != nil {
			q.rows--
		}
	}
}

func (q *queue) drops() Drops {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.dropped
}

func (q *queue) waiting() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.next.entries) + q.taken
}
