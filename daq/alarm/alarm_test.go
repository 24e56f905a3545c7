package alarm

import (
	"errors"
	"strings"
	"testing"
	"time"
)

// The table of transitions: ANSI/ISA-18.2-2016 figure 3 and IEC 62682, whose
// full text was not read: the transitions are from memory, consistent with
// public restatements of the states and with OPC 10000-9.
type step func(*Alarm) error

func sense(c Condition) step {
	return func(a *Alarm) error { a.Update(c, 0); return nil }
}

var steps = map[string]step{
	"set":         sense(Set),
	"clear":       sense(Clear),
	"unknown":     sense(Unknown),
	"acknowledge": (*Alarm).Acknowledge,
	"reset":       (*Alarm).Reset,
	"shelve":      func(a *Alarm) error { return a.Shelve(time.Hour, 0) },
	"unshelve":    (*Alarm).Unshelve,
	"remove":      (*Alarm).Remove,
	"return":      (*Alarm).Return,
	"suppress":    func(a *Alarm) error { a.Suppress(true); return nil },
	"release":     func(a *Alarm) error { a.Suppress(false); return nil },
}

// row is what an event makes of a state: the next state, and the refusal.
type row struct {
	next State
	err  error
}

func same(s State, err error) row { return row{s, err} }

// expected holds every state × every event for an alarm that latches; where an
// unlatched one differs, the test says so. Underlying a silenced state nothing stands.
func expected(s State) map[string]row {
	to := func(n State) row { return row{n, nil} }
	m := map[string]row{
		"set": to(Unacknowledged), "clear": to(s), "unknown": to(s),
		"acknowledge": same(s, ErrSilenced), "reset": same(s, ErrSilenced),
		"shelve": to(Shelved), "unshelve": same(s, ErrNotShelved),
		"remove": to(OutOfService), "return": same(s, ErrNotOut),
		"suppress": to(Suppressed), "release": to(s),
	}
	switch s {
	case Normal:
		m["acknowledge"], m["reset"] = same(s, ErrNothing), same(s, ErrNotLatched)
	case Unacknowledged:
		m["set"], m["clear"] = to(s), to(LatchedUnacknowledged)
		m["acknowledge"], m["reset"] = to(Acknowledged), same(s, ErrStands)
	case Acknowledged:
		m["set"], m["clear"] = to(s), to(LatchedAcknowledged)
		m["acknowledge"], m["reset"] = same(s, ErrAlready), same(s, ErrStands)
	case ReturnedUnacknowledged:
		m["acknowledge"], m["reset"] = to(Normal), same(s, ErrNotLatched)
	case LatchedUnacknowledged:
		m["acknowledge"], m["reset"] = to(LatchedAcknowledged), same(s, ErrUnacknowledged)
	case LatchedAcknowledged:
		m["acknowledge"], m["reset"] = same(s, ErrAlready), to(Normal)
	case Shelved:
		m["set"], m["unshelve"], m["suppress"] = to(s), to(Normal), to(s)
	case Suppressed:
		m["set"], m["shelve"], m["release"] = to(s), same(s, ErrSilenced), to(Normal)
	case OutOfService:
		m["set"], m["shelve"], m["suppress"] = to(s), same(s, ErrSilenced), to(s)
		m["remove"], m["return"] = same(s, ErrSilenced), to(Normal)
	}
	return m
}

func latched(s State) bool { return s == LatchedUnacknowledged || s == LatchedAcknowledged }

func TestEveryStateEveryEvent(t *testing.T) {
	for _, latch := range []bool{true, false} {
		for s := Normal; s <= OutOfService; s++ {
			want := expected(s)
			if !latch && s == Unacknowledged {
				want["clear"] = row{ReturnedUnacknowledged, nil}
			}
			if !latch && s == Acknowledged {
				want["clear"] = row{Normal, nil}
			}
			if len(want) != len(steps) {
				t.Fatalf("%v: the table has %d events, there are %d", s, len(want), len(steps))
			}
			for name, do := range steps {
				a := Restore(Rule{Latch: latch}, s, &Underlying{Latched: latched(s)}, time.Hour)
				err := do(a)
				if a.State() != want[name].next || !errors.Is(err, want[name].err) {
					t.Errorf("latch %v: %v + %s = %v, %v; want %v, %v", latch, s, name, a.State(), err, want[name].next, want[name].err)
				}
			}
		}
	}
}

func TestDelays(t *testing.T) {
	a := New(Rule{OnDelay: 2 * time.Second, OffDelay: 3 * time.Second})
	for _, c := range []struct {
		at   time.Duration
		in   Condition
		want State
	}{
		{0, Set, Normal},
		{1900 * time.Millisecond, Set, Normal},
		{1950 * time.Millisecond, Clear, Normal}, // the delay starts anew
		{2 * time.Second, Set, Normal},
		{3 * time.Second, Unknown, Normal}, // holds, neither restarts nor ends
		{3900 * time.Millisecond, Set, Normal},
		{4 * time.Second, Set, Unacknowledged},
		{5 * time.Second, Clear, Unacknowledged},
		{7 * time.Second, Set, Unacknowledged},
		{8 * time.Second, Clear, Unacknowledged},
		{10900 * time.Millisecond, Clear, Unacknowledged}, // the off-delay, not the on-delay
		{11 * time.Second, Clear, ReturnedUnacknowledged},
	} {
		a.Update(c.in, c.at)
		if a.State() != c.want {
			t.Errorf("at %v after %v: %v, want %v", c.at, c.in, a.State(), c.want)
		}
	}
}

func TestShelvingEndsByItselfAndAnnouncesAnew(t *testing.T) {
	a := New(Rule{})
	a.Update(Set, 0)
	if err := a.Shelve(time.Minute, 0); err != nil {
		t.Fatal(err)
	}
	if a.Update(Set, 59*time.Second) {
		t.Errorf("left %v before its time", a.State())
	}
	if !a.Update(Unknown, time.Minute) || a.State() != Unacknowledged {
		t.Errorf("after shelving: %v, want unacknowledged", a.State())
	}
	if err := a.Shelve(0, 0); !errors.Is(err, ErrShelveLength) {
		t.Errorf("shelving for no time: %v", err)
	}
}

func TestLimit(t *testing.T) {
	high := Limit{Value: 75, Deadband: 2}
	low := Limit{Value: 0.23, Low: true, Deadband: 0.005}
	for _, c := range []struct {
		name   string
		limit  Limit
		value  float64
		active bool
		want   Condition
	}{
		{"high at the limit", high, 75, false, Clear},
		{"high above", high, 75.01, false, Set},
		{"high in the deadband, idle", high, 74, false, Clear},
		{"high in the deadband, active", high, 74, true, Set},
		{"high at the deadband's end, active", high, 73, true, Set},
		{"high below the deadband, active", high, 72.99, true, Clear},
		{"low at the limit", low, 0.23, false, Clear},
		{"low below", low, 0.229, false, Set},
		{"low in the deadband, active", low, 0.234, true, Set},
		{"low above the deadband, active", low, 0.236, true, Clear},
	} {
		if got := c.limit.Judge(c.value, c.active); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// What the page, the permit and the figures ask of a state, by the names of the
// states (ANSI/ISA-18.2, IEC 62682; see steps for what was read of them).
func TestWhatAStateSays(t *testing.T) {
	for s, want := range map[State]string{
		Normal:                 "watches",
		Unacknowledged:         "watches, stands, unseen",
		Acknowledged:           "watches, stands, seen",
		ReturnedUnacknowledged: "watches, unseen",
		LatchedUnacknowledged:  "watches, stands, unseen",
		LatchedAcknowledged:    "watches, stands, seen",
		Shelved:                "watches, silenced",
		Suppressed:             "silenced",
		OutOfService:           "silenced",
	} {
		var said []string
		for _, word := range []struct {
			says bool
			text string
		}{
			{s.Watches(), "watches"}, {s.Stands(), "stands"}, {s.IsAcknowledged(), "seen"}, {s.NeedsAcknowledge(), "unseen"}, {s.Silenced(), "silenced"},
		} {
			if word.says {
				said = append(said, word.text)
			}
		}
		if got := strings.Join(said, ", "); got != want {
			t.Errorf("%v: %s; want %s", s, got, want)
		}
	}
}

func TestWords(t *testing.T) {
	for s := Normal; s <= OutOfService; s++ {
		if got, err := Parse(s.String()); err != nil || got != s {
			t.Errorf("%v: read back as %v, %v", s, got, err)
		}
	}
	if _, err := Parse("fine"); err == nil {
		t.Error("an unknown word was accepted")
	}
	if got := State(len(words)).String(); got != "invalid" {
		t.Errorf("a state that there is not: %q", got)
	}
}
