package record

import (
	"testing"
	"time"

	"flowrigd/daq"
)

// At a row a second, an input each 50 ms and marks behind each commit there is one
// transaction a second, and every row is in it half of durable_within after it came.
func TestATransactionARow(t *testing.T) {
	const within = time.Second
	q, commits, latest := newQueue(), 0, time.Duration(0)
	rows := []time.Time(nil)
	for ms := range 10_000 {
		now := start.Add(time.Duration(ms) * time.Millisecond)
		if ms%50 == 0 {
			b := tick(ms/50 + 1)
			if ms%1000 == 300 {
				rows = append(rows, now)
			} else {
				b.State = nil
			}
			q.put(step{Batch: b}, now)
		}
		select {
		case <-q.nudge:
		default:
		}
		if q.due(now, within) != 0 {
			continue
		}
		c := q.take(now)
		q.written(&c)
		commits++
		for _, at := range rows {
			latest = max(latest, now.Sub(at))
		}
		rows = nil
		q.mark(markKey{"broker", daq.ClassRecord}, int64(commits), now.Add(time.Millisecond))
	}
	if commits > 11 {
		t.Errorf("%d transactions in 10 s", commits)
	}
	if latest > within/2 || len(rows) > 0 {
		t.Errorf("a row waited for %v, %d still wait", latest, len(rows))
	}
}

// Inputs without a row leave a twentieth of durable_within for the commit.
func TestInputsLeaveTimeForTheCommit(t *testing.T) {
	const within = time.Second
	q := newQueue()
	b := tick(1)
	b.State = nil
	q.put(step{Batch: b}, start)
	for wait, due := range map[time.Duration]bool{949 * time.Millisecond: false, 950 * time.Millisecond: true} {
		if got := q.due(start.Add(wait), within) == 0; got != due {
			t.Errorf("due after %v: %v, want %v", wait, got, due)
		}
	}
}

// The writer, which waits for what came first, hears of a row that must be written
// sooner.
func TestARowWakesTheWriter(t *testing.T) {
	q := newQueue()
	woken := func() bool {
		select {
		case <-q.nudge:
			return true
		default:
			return false
		}
	}
	for n, want := range []bool{true, false, true, false} { // input, input, row, row
		b := tick(n + 1)
		if n < 2 {
			b.State = nil
		}
		q.put(step{Batch: b}, start)
		if got := woken(); got != want {
			t.Errorf("step %d: woken %v", n, got)
		}
	}
}
