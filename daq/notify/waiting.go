package notify

import (
	"slices"
	"strings"
	"sync/atomic"
	"time"
	"unicode"

	"flowrigd/config"
)

// Waiting says how alarms wait for the receivers of a notifier.
type Waiting struct {
	Known bool      // each receiver has been tried since the start, or has nothing to be told
	Since time.Time // when the alarm came that has waited longest for one that does not take it; zero for none
	Who   string    // that receiver, and why it does not take it; "" for none
}

// Waiting gives how alarms wait at this moment. The alarm about waiting alarms
// is not one of them: it would wait for itself.
func (n *Notifier) Waiting() Waiting {
	w := Waiting{Known: true}
	for _, r := range n.receivers {
		since, known := r.oldest()
		is := r.health.Now()
		switch {
		case !known, !since.IsZero() && !is.Tried:
			w.Known = false
		case since.IsZero() || is.Trouble == "":
		case w.Since.IsZero() || since.Before(w.Since):
			w.Since, w.Who = since, "the receiver "+r.label+" says: "+oneLine(is.Trouble)
		}
	}
	return w
}

// oneLine keeps what a foreign server said short and on one line.
func oneLine(text string) string {
	runes := []rune(strings.Map(func(c rune) rune {
		if !unicode.IsPrint(c) {
			return ' '
		}
		return c
	}, text))
	return string(runes[:min(len(runes), 200)])
}

// queued is what others may know of a queue.
type queued struct {
	known  atomic.Bool // the recording has been read to its end once
	oldest atomic.Pointer[time.Time]
}

// oldest is when the alarm came that has waited longest, zero for none; it is
// not known before the recording has been read.
func (r *receiver) oldest() (since time.Time, known bool) {
	known = r.queued.known.Load()
	if t := r.queued.oldest.Load(); t != nil {
		return *t, true
	}
	return time.Time{}, known
}

// showQueue lets others know of the queue after a change.
func (r *receiver) showQueue() {
	r.count.waiting.Store(int64(len(r.queue) + len(r.provisional)))
	var oldest *time.Time
	for _, m := range slices.Concat(r.queue, r.provisional) {
		if !m.skip && m.Name != config.ReceiverFailed && (oldest == nil || m.came.Before(*oldest)) {
			oldest = &m.came
		}
	}
	r.queued.oldest.Store(oldest)
}
