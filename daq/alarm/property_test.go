package alarm

import (
	"math/rand/v2"
	"testing"
	"time"
)

// walk is an alarm on a random walk through everything that can happen to it,
// with what a person knows of it.
type walk struct {
	*Alarm
	t      *testing.T
	random *rand.Rand
	now    time.Duration
	last   string // what happened last

	seen  bool // a person has acknowledged, or silenced, what came last
	reset bool // nothing has been active since the last reset
}

func newWalk(t *testing.T, seed uint64) *walk {
	r := rand.New(rand.NewPCG(seed, 18))
	rule := Rule{Latch: seed%2 == 0, OnDelay: time.Duration(r.IntN(4)) * time.Second, OffDelay: time.Duration(r.IntN(3)) * time.Second}
	return &walk{Alarm: New(rule), t: t, random: r, seen: true, reset: true}
}

// act does something and says whether the alarm itself says that its state
// changed.
func (w *walk) act() (announced bool) {
	do := map[string]func() error{
		"acknowledge": w.Acknowledge, "reset": w.Reset, "unshelve": w.Unshelve, "remove": w.Remove, "return": w.Return,
		"shelve": func() error { return w.Shelve(time.Duration(1+w.random.IntN(10))*time.Second, w.now) },
	}
	names := []string{"sense", "sense", "sense", "sense", "sense", "sense", "acknowledge", "acknowledge", "reset", "shelve", "unshelve", "remove", "return", "suppress", "release"}
	switch w.last = names[w.random.IntN(len(names))]; w.last {
	case "sense":
		w.now += time.Duration(w.random.IntN(1500)) * time.Millisecond
		return w.Sense(Condition(w.random.IntN(3)), w.now)
	case "suppress", "release":
		return w.Suppress(w.last == "suppress")
	}
	return do[w.last]() == nil
}

// step does one thing and holds what no sequence may break.
func (w *walk) step() {
	before, wasActive := w.State(), w.Active()
	announced := w.act()
	after := w.State()
	again := w.last == "shelve" && before == Shelved // a longer shelving is accepted and is no transition
	if announced != (before != after) && !again {
		w.fail(before, "announced %v", announced)
	}
	if w.last == "acknowledge" && announced || w.last == "remove" && announced || w.last == "shelve" && announced {
		w.seen = true
	}
	if w.last == "reset" && announced {
		w.reset = true
	}
	if w.Active() && !wasActive {
		w.seen, w.reset = false, false
	}
	w.holds(before, after)
}

func (w *walk) holds(before, after State) {
	if after == Normal && before != Normal && !w.seen && before != Suppressed && before != OutOfService && before != Shelved {
		w.fail(before, "it went back to normal and nobody has seen it")
	}
	if after == Normal && w.rule.Latch && !w.reset {
		w.fail(before, "a latched alarm went back to normal without a reset")
	}
	if after == Normal && w.Active() {
		w.fail(before, "it is normal while its cause stands")
	}
	if after == Shelved && w.last == "sense" && w.now >= w.Until() {
		w.fail(before, "it is shelved past its time")
	}
	if !w.rule.Latch && (after == LatchedAcknowledged || after == LatchedUnacknowledged) {
		w.fail(before, "it latched")
	}
	if before.Silenced() && !after.Silenced() && w.Active() && after != Unacknowledged {
		w.fail(before, "it came back with its cause and is no new alarm")
	}
}

func (w *walk) fail(before State, format string, args ...any) {
	w.t.Helper()
	w.t.Errorf("at %v: %v + %s = %v (latch %v, active %v): "+format, append([]any{w.now, before, w.last, w.State(), w.rule.Latch, w.Active()}, args...)...)
}

// In a thousand random lives: nothing clears unseen, a latched alarm needs a
// reset, shelving ends, one announcement a transition, and an alarm that stands
// is never normal.
func TestRandomSequences(t *testing.T) {
	for seed := range uint64(1000) {
		w := newWalk(t, seed)
		for range 400 {
			w.step()
			if t.Failed() {
				t.Fatalf("seed %d", seed)
			}
		}
	}
}

// A latched alarm that is silenced while its cause goes away comes back latched
// and unseen.
func TestSilencingDoesNotReset(t *testing.T) {
	silence := map[string]func(*Alarm){
		"shelved":        func(a *Alarm) { _ = a.Shelve(time.Minute, 0) },
		"suppressed":     func(a *Alarm) { a.Suppress(true) },
		"out of service": func(a *Alarm) { _ = a.Remove() },
	}
	back := map[string]func(*Alarm){
		"shelved":        func(a *Alarm) { a.Sense(Clear, time.Minute) },
		"suppressed":     func(a *Alarm) { a.Suppress(false) },
		"out of service": func(a *Alarm) { _ = a.Return() },
	}
	for name := range silence {
		for _, first := range []State{Unacknowledged, Acknowledged, LatchedUnacknowledged, LatchedAcknowledged} {
			a := Restore(Rule{Latch: true}, first, 0)
			silence[name](a)
			a.Sense(Clear, time.Second)
			back[name](a)
			if a.State() != LatchedUnacknowledged {
				t.Errorf("%v, %s and back: %v, want latched-unacknowledged", first, name, a.State())
			}
		}
	}
}
