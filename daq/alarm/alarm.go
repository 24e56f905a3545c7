// Package alarm owns the life cycle of an alarm after ANSI/ISA-18.2 and
// IEC 62682: states, delays, latching, acknowledgement, shelving.
//
//	Condition → Update → State; a person's Acknowledge, Reset, Shelve, … → State
//
// It is pure and a leaf: it knows no quantity, no limit's unit, no clock and no
// file, and announces nothing.
package alarm

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// State is a state of the standard's diagram.
type State uint8

// The states, with the letters of the standard's diagram (those of the last
// five from memory).
const (
	Normal                 State = iota // A
	Unacknowledged                      // B
	Acknowledged                        // C
	ReturnedUnacknowledged              // D
	LatchedUnacknowledged               // E
	LatchedAcknowledged                 // F
	Shelved                             // G
	Suppressed                          // H
	OutOfService                        // I
)

var words = [...]string{
	"normal", "unacknowledged", "acknowledged", "returned-unacknowledged",
	"latched-unacknowledged", "latched-acknowledged", "shelved", "suppressed", "out-of-service",
}

// String is the state's word in every interface.
func (s State) String() string {
	if int(s) < len(words) {
		return words[s]
	}
	return "invalid"
}

// Parse reads a word that String writes.
func Parse(word string) (State, error) {
	if i := slices.Index(words[:], word); i >= 0 {
		return State(i), nil
	}
	return Normal, fmt.Errorf("alarm state %q: unknown word", word)
}

// Silenced says whether the state is one of the three in which a person or the
// plant has taken the alarm's voice.
func (s State) Silenced() bool { return s >= Shelved }

// NeedsAcknowledge says whether the state waits for an acknowledgement.
func (s State) NeedsAcknowledge() bool {
	return s == Unacknowledged || s == ReturnedUnacknowledged || s == LatchedUnacknowledged
}

// Stands says whether the alarm calls for a person: its cause stands, or it is
// latched until somebody resets it.
func (s State) Stands() bool {
	return s == Unacknowledged || s == Acknowledged || s == LatchedUnacknowledged || s == LatchedAcknowledged
}

// IsAcknowledged says whether a person has acknowledged what still stands.
func (s State) IsAcknowledged() bool { return s == Acknowledged || s == LatchedAcknowledged }

// Watches says whether what the alarm does beside calling, as a trip does, may
// happen: shelving takes an alarm's voice alone.
func (s State) Watches() bool { return s != OutOfService && s != Suppressed }

// Condition is what the input says now.
type Condition uint8

// The conditions. Unknown, the zero value, holds everything as it is.
const (
	Unknown Condition = iota
	Clear
	Set
)

// Rule is how an alarm behaves.
type Rule struct {
	Latch    bool
	OnDelay  time.Duration
	OffDelay time.Duration
}

// Underlying is what stands beneath a state. The states in which an alarm is silenced
// show none of it, so it is kept beside them.
type Underlying struct {
	Active         bool `json:"active,omitempty"`         // the condition stands, after its delays
	Latched        bool `json:"latched,omitempty"`        // it stood under a rule that latches, and nobody has reset it since
	Unacknowledged bool `json:"unacknowledged,omitempty"` // it was announced, and nobody has acknowledged it since
}

// Alarm is one alarm. Times are monotonic.
type Alarm struct {
	rule       Rule
	silence    State // Shelved, Suppressed or OutOfService; Normal: it has its voice
	underlying Underlying
	pending    bool // a change of Active waits for its delay
	since      time.Duration
	until      time.Duration // end of shelving
}

// New makes an alarm in the normal state.
func New(rule Rule) *Alarm { return &Alarm{rule: rule} }

// Restore makes an alarm in a state that was recorded, with what was recorded of
// what stands beneath it; until is the monotonic time at which shelving ends.
// Without a record of that, nil, a silenced alarm that latches counts as latched
// and not acknowledged: it may have been.
func Restore(rule Rule, state State, underlying *Underlying, until time.Duration) *Alarm {
	a := &Alarm{rule: rule, until: until}
	switch {
	case underlying != nil:
		a.underlying = *underlying
	case state.Silenced():
		a.underlying = Underlying{Latched: rule.Latch, Unacknowledged: rule.Latch}
	}
	if state.Silenced() {
		a.silence = state
	} else {
		a.underlying.Active = state == Unacknowledged || state == Acknowledged
		a.underlying.Unacknowledged = state.NeedsAcknowledge()
		a.underlying.Latched = state == LatchedUnacknowledged || state == LatchedAcknowledged || a.underlying.Active && a.underlying.Latched
	}
	a.SetRule(rule)
	return a
}

// State is the present state.
func (a *Alarm) State() State {
	switch b := a.underlying; {
	case a.silence != Normal:
		return a.silence
	case b.Active && b.Unacknowledged:
		return Unacknowledged
	case b.Active:
		return Acknowledged
	case b.Latched && b.Unacknowledged:
		return LatchedUnacknowledged
	case b.Latched:
		return LatchedAcknowledged
	case b.Unacknowledged:
		return ReturnedUnacknowledged
	}
	return Normal
}

// Active says whether the condition stands, after its delays.
func (a *Alarm) Active() bool { return a.underlying.Active }

// Underlying is what stands beneath the state.
func (a *Alarm) Underlying() Underlying { return a.underlying }

// Until is when shelving ends; it means nothing in another state.
func (a *Alarm) Until() time.Duration { return a.until }

// SetRule changes the behaviour and keeps the state: for a reload. What has
// latched stays latched under a rule that does not latch; what stands latches
// under one that does.
func (a *Alarm) SetRule(rule Rule) {
	a.rule = rule
	a.underlying.Latched = a.underlying.Latched || a.underlying.Active && rule.Latch
}

// Shift moves the beginning of a delay that runs: for a time that does not count.
func (a *Alarm) Shift(by time.Duration) { a.since += by }

// RequireAcknowledge makes the alarm wait for an acknowledgement, a silenced one once it has
// its voice again: it has done something that a person has to know of.
func (a *Alarm) RequireAcknowledge() { a.underlying.Unacknowledged = true }

// Update takes the condition at a time, and says whether the state changed.
func (a *Alarm) Update(c Condition, now time.Duration) bool {
	before := a.State()
	a.settle(c, now)
	if a.silence == Shelved && now >= a.until {
		a.comeBack()
	}
	return a.State() != before
}

// settle runs the delays. An unknown condition neither restarts nor ends a delay
// that runs.
func (a *Alarm) settle(c Condition, now time.Duration) {
	if c == Unknown {
		return
	}
	switch {
	case (c == Set) == a.underlying.Active:
		a.pending = false
		return
	case !a.pending:
		a.pending, a.since = true, now
	}
	delay := a.rule.OnDelay
	if a.underlying.Active {
		delay = a.rule.OffDelay
	}
	if now-a.since < delay {
		return
	}
	b := &a.underlying
	b.Active, a.pending = !b.Active, false
	b.Latched = b.Latched || b.Active && a.rule.Latch
	b.Unacknowledged = b.Unacknowledged || b.Active && a.silence == Normal
}

// comeBack gives a silenced alarm its voice again; one that stands, or stood and
// was not reset, must announce itself as new.
func (a *Alarm) comeBack() {
	b := &a.underlying
	a.silence = Normal
	b.Unacknowledged = b.Unacknowledged || b.Active || b.Latched
}

// The refusals.
var (
	ErrNothing        = errors.New("there is nothing to acknowledge: the alarm is normal")
	ErrAlready        = errors.New("it is acknowledged already")
	ErrSilenced       = errors.New("it is shelved, suppressed or out of service: bring it back first")
	ErrStands         = errors.New("its cause still stands: remove the cause, then reset")
	ErrUnacknowledged = errors.New("it is not acknowledged: acknowledge first, then reset")
	ErrNotLatched     = errors.New("it is not latched: there is nothing to reset")
	ErrNotShelved     = errors.New("it is not shelved")
	ErrNotOut         = errors.New("it is not out of service")
	ErrShelveLength   = errors.New("shelving needs a time longer than zero")
)

// Acknowledge confirms that a person has seen the alarm.
func (a *Alarm) Acknowledge() error {
	switch {
	case a.silence != Normal:
		return ErrSilenced
	case a.State() == Normal:
		return ErrNothing
	case !a.underlying.Unacknowledged:
		return ErrAlready
	}
	a.underlying.Unacknowledged = false
	return nil
}

// Reset releases a latched alarm whose cause is gone and which was seen.
func (a *Alarm) Reset() error {
	switch b := &a.underlying; {
	case a.silence != Normal:
		return ErrSilenced
	case b.Active:
		return ErrStands
	case !b.Latched:
		return ErrNotLatched
	case b.Unacknowledged:
		return ErrUnacknowledged
	default:
		b.Latched = false
		return nil
	}
}

// Shelve silences the alarm for a time.
func (a *Alarm) Shelve(length, now time.Duration) error {
	if length <= 0 {
		return ErrShelveLength
	}
	if a.silence == Suppressed || a.silence == OutOfService {
		return ErrSilenced
	}
	a.silence, a.until = Shelved, now+length
	return nil
}

// Unshelve ends shelving early.
func (a *Alarm) Unshelve() error {
	if a.silence != Shelved {
		return ErrNotShelved
	}
	a.comeBack()
	return nil
}

// Remove takes the alarm out of service.
func (a *Alarm) Remove() error {
	if a.silence == OutOfService {
		return ErrSilenced
	}
	a.silence = OutOfService
	return nil
}

// Return brings the alarm back into service.
func (a *Alarm) Return() error {
	if a.silence != OutOfService {
		return ErrNotOut
	}
	a.comeBack()
	return nil
}

// Suppress follows the plant's logic: while it says so the alarm is silent by
// design. It says whether the state changed.
func (a *Alarm) Suppress(yes bool) bool {
	switch {
	case yes && a.silence == Normal:
		a.silence = Suppressed
	case !yes && a.silence == Suppressed:
		a.comeBack()
	default:
		return false
	}
	return true
}
