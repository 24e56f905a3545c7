package alarm

import (
	"errors"
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

	seen  bool // a person has acknowledged what was announced last
	reset bool // nothing has been active, under a rule that latches, since the last reset
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
		"restart": func() error { w.restart(); return errNoTransition },
		"reload":  func() error { w.SetRule(w.otherRule()); return errNoTransition },
		"shelve":  func() error { return w.Shelve(time.Duration(1+w.random.IntN(10))*time.Second, w.now) },
	}
	names := []string{"sense", "sense", "sense", "sense", "sense", "sense", "acknowledge", "acknowledge", "reset", "shelve", "unshelve", "remove", "return", "suppress", "release", "restart", "reload"}
	switch w.last = names[w.random.IntN(len(names))]; w.last {
	case "sense":
		w.now += time.Duration(w.random.IntN(1500)) * time.Millisecond
		return w.Update(Condition(w.random.IntN(3)), w.now)
	case "suppress", "release":
		return w.Suppress(w.last == "suppress")
	}
	return do[w.last]() == nil
}

// errNoTransition: what happened is none by itself.
var errNoTransition = errors.New("no transition")

// restart writes the alarm down and brings it back; the delays begin anew.
func (w *walk) restart() {
	underlying := w.Underlying()
	w.Alarm = Restore(w.rule, w.State(), &underlying, w.Until())
}

// otherRule latches where the present one does not.
func (w *walk) otherRule() Rule {
	r := w.rule
	r.Latch = !r.Latch
	return r
}

// step does one thing and holds what no sequence may break.
func (w *walk) step() {
	before := w.State()
	announced := w.act()
	after := w.State()
	again := w.last == "shelve" && before == Shelved // a longer shelving is accepted and is no transition
	if announced != (before != after) && !again {
		w.fail(before, "announced %v", announced)
	}
	if w.last == "acknowledge" && announced {
		w.seen = true
	}
	if w.last == "reset" && announced {
		w.reset = true
	}
	if w.Active() && w.rule.Latch {
		w.reset = false
	}
	if after.NeedsAcknowledge() {
		w.seen = false
	}
	w.holds(before, after)
}

func (w *walk) holds(before, after State) {
	if after == Normal && !w.seen {
		w.fail(before, "it went back to normal and nobody has seen it")
	}
	if after == Normal && !w.reset {
		w.fail(before, "a latched alarm went back to normal without a reset")
	}
	if after == Normal && w.Active() {
		w.fail(before, "it is normal while its cause stands")
	}
	if after == Shelved && w.last == "sense" && w.now >= w.Until() {
		w.fail(before, "it is shelved past its time")
	}
	if w.reset && (after == LatchedAcknowledged || after == LatchedUnacknowledged) {
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

// In a thousand random lives, restarts and reloads between: nothing clears unseen,
// what latched needs a reset, shelving ends, one announcement a transition, and an alarm that stands
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
		"shelved":        func(a *Alarm) { a.Update(Clear, time.Minute) },
		"suppressed":     func(a *Alarm) { a.Suppress(false) },
		"out of service": func(a *Alarm) { _ = a.Return() },
	}
	for name := range silence {
		for _, first := range []State{Unacknowledged, Acknowledged, LatchedUnacknowledged, LatchedAcknowledged} {
			for between, do := range map[string]func(*Alarm) *Alarm{
				"nothing": func(a *Alarm) *Alarm { return a },
				"a restart": func(a *Alarm) *Alarm {
					underlying := a.Underlying()
					return Restore(Rule{Latch: true}, a.State(), &underlying, a.Until())
				},
				"a restart from a recording that kept the state alone": func(a *Alarm) *Alarm {
					return Restore(Rule{Latch: true}, a.State(), nil, a.Until())
				},
				"a reload without the latch": func(a *Alarm) *Alarm { a.SetRule(Rule{}); return a },
			} {
				a := Restore(Rule{Latch: true}, first, nil, 0)
				silence[name](a)
				a = do(a)
				a.Update(Clear, time.Second)
				back[name](a)
				if a.State() != LatchedUnacknowledged {
					t.Errorf("%v, %s, %s between, and back: %v, want latched-unacknowledged", first, name, between, a.State())
				}
			}
		}
	}
}

// What was announced and not acknowledged is still to be acknowledged after it was
// silenced, be the alarm one that latches or not; what a person had acknowledged is
// not announced anew once it is over.
func TestSilencingIsNoAcknowledgement(t *testing.T) {
	for _, c := range []struct{ first, want State }{
		{Unacknowledged, ReturnedUnacknowledged}, {ReturnedUnacknowledged, ReturnedUnacknowledged},
		{Acknowledged, Normal}, {Normal, Normal},
	} {
		a := Restore(Rule{}, c.first, nil, 0)
		_ = a.Shelve(time.Hour, 0)
		underlying := a.Underlying()
		a = Restore(Rule{}, a.State(), &underlying, a.Until())
		a.Update(Clear, time.Second)
		_ = a.Unshelve()
		if a.State() != c.want {
			t.Errorf("%v, shelved, over, and back: %v, want %v", c.first, a.State(), c.want)
		}
	}
}

// A reload that changes latch takes no latch away and gives one to what stands.
func TestAReloadKeepsALatch(t *testing.T) {
	for _, c := range []struct {
		from, to bool
		first    State
		want     State // when the cause is gone
	}{
		{true, false, Unacknowledged, LatchedUnacknowledged}, {true, false, Acknowledged, LatchedAcknowledged},
		{false, true, Unacknowledged, LatchedUnacknowledged}, {false, true, Acknowledged, LatchedAcknowledged},
		{false, true, ReturnedUnacknowledged, ReturnedUnacknowledged}, {true, false, LatchedAcknowledged, LatchedAcknowledged},
	} {
		a := Restore(Rule{Latch: c.from}, c.first, nil, 0)
		a.SetRule(Rule{Latch: c.to})
		a.Update(Clear, 0)
		if a.State() != c.want {
			t.Errorf("latch %v, %v, reload to %v, over: %v, want %v", c.from, c.first, c.to, a.State(), c.want)
		}
	}
}
