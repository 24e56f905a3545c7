package dye

import "time"

// spell is a time in which the thread was torn, or still, all along.
type spell struct {
	from, to time.Duration
	torn     bool
	begun    bool // seen to begin; else the watching began within it
	ended    bool // seen to end
}

// Watch follows a thread. It keeps the spells of the last time that it was made for.
type Watch struct {
	still   Still
	torn    float64 // standard deviation ÷ mean of the light above which the thread is torn
	flicker flicker
	keep    time.Duration
	spells  []spell // in the order of time; between two there may be a gap
	open    bool    // the last one goes on
}

// NewWatch watches a thread against a still one, and keeps so much of the past.
func NewWatch(s Setting, still Still, keep time.Duration) *Watch {
	return &Watch{still: still, torn: s.TornAbove * still.Flicker, flicker: newFlicker(s), keep: keep}
}

// Add takes a reading of the light, 0 to 1. A stretch of torn thread begins between the
// reading with which the flicker rose and the one before, and ends where the first
// readings begin that flicker no more: so it is as long as it was, though the flicker
// takes half a second. A still time shorter than that is not seen.
func (w *Watch) Add(at time.Duration, light float64) {
	if n := len(w.flicker.at); n > 0 && at <= w.flicker.at[n-1] {
		return // says nothing of the time since
	}
	if light < dark*w.still.Light {
		w.Pause()
		return
	}
	if !w.flicker.add(at, light) {
		w.open = false
	}
	mean, deviation, ok := w.flicker.of()
	if !ok {
		return
	}
	relative := deviation / mean
	if !w.open {
		w.open = true
		w.spells = append(w.spells, spell{from: w.flicker.begin(), to: at, torn: relative > w.torn})
		w.forget(at)
		return
	}
	last := &w.spells[len(w.spells)-1]
	switch {
	case !last.torn && relative > w.torn:
		before := w.flicker.at[len(w.flicker.at)-2]
		w.turn(at, before+(at-before)/2)
	case last.torn && relative < stillAgain*w.torn:
		w.turn(at, max(last.from, w.flicker.begin()))
	default:
		last.to = at
	}
	w.forget(at)
}

// turn ends the last spell and begins one of the other kind.
func (w *Watch) turn(now, at time.Duration) {
	last := &w.spells[len(w.spells)-1]
	last.to, last.ended = at, true
	w.spells = append(w.spells, spell{from: at, to: now, torn: !last.torn, begun: true})
}

func (w *Watch) forget(now time.Duration) {
	old := 0
	for old < len(w.spells) && w.spells[old].to < now-w.keep {
		old++
	}
	w.spells = append(w.spells[:0], w.spells[old:]...)
}

// Pause says that the thread is not watched from here on: there is none, or no light.
func (w *Watch) Pause() {
	w.open = false
	w.flicker.at, w.flicker.light = w.flicker.at[:0], w.flicker.light[:0]
}

// Forget drops what was seen: it belongs to another flow.
func (w *Watch) Forget() {
	w.Pause()
	w.spells = w.spells[:0]
}

// leastWatched is the part of a window in which the thread must have been watched.
const leastWatched = 0.9

// Seen sums up the span that ends now; ok is false while less than nine tenths of it
// were watched.
func (w *Watch) Seen(now, span time.Duration) (seen Seen, ok bool) {
	from := now - span
	for _, s := range w.spells {
		if s.to <= from {
			continue
		}
		length := (s.to - max(s.from, from)).Seconds()
		whole := s.begun && s.ended && s.from >= from
		if s.torn {
			seen.Torn.add(length, s.ended, whole)
		} else {
			seen.Still.add(length, s.ended, whole)
		}
	}
	return seen, seen.Torn.Seconds+seen.Still.Seconds >= leastWatched*span.Seconds()
}
