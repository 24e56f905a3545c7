// Package alarm owns the life cycle of an alarm after ANSI/ISA-18.2 and
// IEC 62682: states, delays, latching, acknowledgement, shelving.
//
//	Condition → Sense → State; a person's Acknowledge, Reset, Shelve, … → State
//
// It is pure and a leaf: it knows no quantity, no limit's unit, no clock and no
// file, and announces nothing.
package alarm

import (
	"errors"
	"fmt"
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
	for i, w := range words {
		if w == word {
			return State(i), nil
		}
	}
	return Normal, fmt.Errorf("alarm state %q: unknown word", word)
}

// Silenced says whether the state is one of the three in which a person or the
// plant has taken the alarm's voice.
func (s State) Silenced() bool { return s >= Shelved }

// Unseen says whether the state waits for an acknowledgement.
func (s State) Unseen() bool {
	return s == Unacknowledged || s == ReturnedUnacknowledged || s == LatchedUnacknowledged
}

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

// Alarm is one alarm. Times are monotonic.
type Alarm struct {
	rule    Rule
	state   State
	active  bool // the condition after its delays
	latched bool // it was active and no reset has come since; only with Rule.Latch
	pending bool // a change of active waits for its delay
	since   time.Duration
	until   time.Duration // end of shelving
}

// New makes an alarm in the normal state.
func New(rule Rule) *Alarm { return &Alarm{rule: rule} }

// Restore makes an alarm in a state that was recorded; until is the monotonic
// time at which shelving ends. What a silenced alarm latched before is not known
// any more.
func Restore(rule Rule, state State, until time.Duration) *Alarm {
	active := state == Unacknowledged || state == Acknowledged
	latched := state == LatchedUnacknowledged || state == LatchedAcknowledged || active && rule.Latch
	return &Alarm{rule: rule, state: state, active: active, latched: latched, until: until}
}

// State is the present state.
func (a *Alarm) State() State { return a.state }

// Active says whether the condition stands, after its delays.
func (a *Alarm) Active() bool { return a.active }

// Until is when shelving ends; it means nothing in another state.
func (a *Alarm) Until() time.Duration { return a.until }

// SetRule changes the behaviour and keeps the state: for a reload.
func (a *Alarm) SetRule(rule Rule) { a.rule = rule }

// Sense takes the condition at a time, and says whether the state changed.
func (a *Alarm) Sense(c Condition, now time.Duration) bool {
	before := a.state
	if a.settle(c, now) {
		a.follow()
	}
	if a.state == Shelved && now >= a.until {
		a.comeBack()
	}
	return a.state != before
}

// settle runs the delays and says whether active changed. An unknown condition
// neither restarts nor ends a delay that runs.
func (a *Alarm) settle(c Condition, now time.Duration) bool {
	if c == Unknown {
		return false
	}
	if (c == Set) == a.active {
		a.pending = false
		return false
	}
	if !a.pending {
		a.pending, a.since = true, now
	}
	delay := a.rule.OnDelay
	if a.active {
		delay = a.rule.OffDelay
	}
	if now-a.since < delay {
		return false
	}
	a.active, a.pending = !a.active, false
	a.latched = a.latched || a.active && a.rule.Latch
	return true
}

// follow moves the state after active changed.
func (a *Alarm) follow() {
	switch {
	case a.state.Silenced():
	case a.active:
		a.state = Unacknowledged
	case a.state == Unacknowledged && a.rule.Latch:
		a.state = LatchedUnacknowledged
	case a.state == Acknowledged && a.rule.Latch:
		a.state = LatchedAcknowledged
	case a.state == Unacknowledged:
		a.state = ReturnedUnacknowledged
	case a.state == Acknowledged:
		a.state = Normal
	}
}

// comeBack leaves a silenced state for the one that the condition and the latch
// give; an alarm that stands, or stood and was not reset, must announce itself
// as new.
func (a *Alarm) comeBack() {
	switch {
	case a.active:
		a.state = Unacknowledged
	case a.latched:
		a.state = LatchedUnacknowledged
	default:
		a.state = Normal
	}
}

// The refusals.
var (
	ErrNothing      = errors.New("there is nothing to acknowledge: the alarm is normal")
	ErrAlready      = errors.New("it is acknowledged already")
	ErrSilenced     = errors.New("it is shelved, suppressed or out of service: bring it back first")
	ErrStands       = errors.New("its cause still stands: remove the cause, then reset")
	ErrUnseen       = errors.New("it is not acknowledged: acknowledge first, then reset")
	ErrNotLatched   = errors.New("it is not latched: there is nothing to reset")
	ErrNotShelved   = errors.New("it is not shelved")
	ErrNotOut       = errors.New("it is not out of service")
	ErrShelveLength = errors.New("shelving needs a time longer than zero")
)

// Acknowledge confirms that a person has seen the alarm.
func (a *Alarm) Acknowledge() error {
	switch a.state {
	case Unacknowledged:
		a.state = Acknowledged
	case ReturnedUnacknowledged:
		a.state = Normal
	case LatchedUnacknowledged:
		a.state = LatchedAcknowledged
	case Normal:
		return ErrNothing
	case Acknowledged, LatchedAcknowledged:
		return ErrAlready
	default:
		return ErrSilenced
	}
	return nil
}

// Reset releases a latched alarm whose cause is gone and which was seen.
func (a *Alarm) Reset() error {
	switch a.state {
	case LatchedAcknowledged:
		a.state, a.latched = Normal, false
	case LatchedUnacknowledged:
		return ErrUnseen
	case Unacknowledged, Acknowledged:
		return ErrStands
	case Normal, ReturnedUnacknowledged:
		return ErrNotLatched
	default:
		return ErrSilenced
	}
	return nil
}

// Shelve silences the alarm for a time.
func (a *Alarm) Shelve(length, now time.Duration) error {
	if length <= 0 {
		return ErrShelveLength
	}
	if a.state == Suppressed || a.state == OutOfService {
		return ErrSilenced
	}
	a.state, a.until = Shelved, now+length
	return nil
}

// Unshelve ends shelving early.
func (a *Alarm) Unshelve() error {
	if a.state != Shelved {
		return ErrNotShelved
	}
	a.comeBack()
	return nil
}

// Remove takes the alarm out of service.
func (a *Alarm) Remove() error {
	if a.state == OutOfService {
		return ErrSilenced
	}
	a.state = OutOfService
	return nil
}

// Return brings the alarm back into service.
func (a *Alarm) Return() error {
	if a.state != OutOfService {
		return ErrNotOut
	}
	a.comeBack()
	return nil
}

// Suppress follows the plant's logic: while it says so the alarm is silent by
// design. It says whether the state changed.
func (a *Alarm) Suppress(yes bool) bool {
	switch {
	case yes && a.state < Shelved:
		a.state = Suppressed
	case !yes && a.state == Suppressed:
		a.comeBack()
	default:
		return false
	}
	return true
}
