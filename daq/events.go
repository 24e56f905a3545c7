package daq

import (
	"encoding/json"
	"time"

	"flowrigd/daq/alarm"
)

// AlarmStatus is an alarm as it stands.
type AlarmStatus struct {
	Name         string    `json:"name"`
	State        string    `json:"state"`
	Priority     string    `json:"priority"`
	Since        time.Time `json:"time"` // of the last transition
	Value        *float64  `json:"value"`
	Limit        *float64  `json:"limit"`
	Cause        string    `json:"cause"`
	Consequence  string    `json:"consequence"`
	Action       string    `json:"action"`
	Active       bool      `json:"active"`       // it stands, or is latched; never while shelved, suppressed or out of service
	CauseStands  bool      `json:"cause_stands"` // its condition is met, shelved or not
	Acknowledged bool      `json:"acknowledged"` // by a person
	Trips        bool      `json:"trips"`        // it would trip the heating permit, shelved too
	Tripped      bool      `json:"tripped"`      // it holds the heating permit off
	Until        time.Time `json:"-"`            // end of shelving; zero in another state
	FirstOut     bool      `json:"first_out"`    // of those that stand, the one that came first
	Chattering   bool      `json:"chattering"`   // set three times or more within a minute
}

// MarshalJSON writes the time as every other interface does.
func (a AlarmStatus) MarshalJSON() ([]byte, error) {
	type plain AlarmStatus
	return json.Marshal(struct {
		plain
		Since string `json:"time"`
		Until string `json:"until,omitempty"`
	}{plain(a), FormatTime(a.Since), formatUntil(a.Until)})
}

// Event is the alarm as a transition to what it is.
func (a *AlarmStatus) Event() AlarmEvent {
	return AlarmEvent{
		Name: a.Name, State: a.State, Priority: a.Priority, Time: a.Since, Value: a.Value, Limit: a.Limit, Until: a.Until,
		Cause: a.Cause, Consequence: a.Consequence, Action: a.Action, Tripped: a.Tripped,
	}
}

// formatUntil writes the end of shelving; "" for none.
func formatUntil(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return FormatTime(t)
}

// SavedAlarm brings an alarm back after a restart.
type SavedAlarm struct {
	Name  string    `json:"name"`
	State string    `json:"state"`
	Since time.Time `json:"since"`
	Until time.Time `json:"until,omitzero"` // end of shelving
	Value *float64  `json:"value,omitempty"`
	// Tripped: the alarm holds the latch of the heating permit.
	Tripped bool `json:"tripped,omitempty"`
	// Underlying is what a silenced state does not tell; nil where the recording did
	// not keep it.
	Underlying *alarm.Underlying `json:"beneath,omitempty"`
	// Raised is the place of the alarm in the order in which alarms came; 0 where
	// the recording did not keep it, and for one that never came.
	Raised int64 `json:"raised,omitempty"`
}

// JournalUnread is the alarm in place of those of a journal that cannot be read.
const JournalUnread = "journal-unread"

// AlarmEvent is one transition of an alarm: the row of the journal and the
// message of the wire.
type AlarmEvent struct {
	Name        string    `json:"name"`
	State       string    `json:"state"`
	Priority    string    `json:"priority"`
	Time        time.Time `json:"time"`
	Value       *float64  `json:"value"`
	Limit       *float64  `json:"limit"`
	Cause       string    `json:"cause"`
	Consequence string    `json:"consequence"`
	Action      string    `json:"action"`
	Who         string    `json:"who,omitempty"`
	Until       time.Time `json:"until,omitzero"`    // end of shelving
	Tripped     bool      `json:"tripped,omitempty"` // it holds the latch of the heating permit
	alarm.Underlying
	Raised int64 `json:"-"` // place in the order in which alarms came; 0: it never came
}

// Saved is what a restart needs of an alarm's last transition.
func (e *AlarmEvent) Saved() SavedAlarm {
	underlying := e.Underlying
	return SavedAlarm{
		Name: e.Name, State: e.State, Since: e.Time, Until: e.Until, Value: e.Value,
		Tripped: e.Tripped, Underlying: &underlying, Raised: e.Raised,
	}
}

// Note is something worth keeping that is not an alarm: a reload, a refused
// command, an unplugged line.
type Note struct {
	Kind string    `json:"kind"` // reload, refused, start, stop, …
	Time time.Time `json:"time"`
	Who  string    `json:"who,omitempty"`
	Text string    `json:"text"`
}

// Reply answers a Command; Error is "" when it was done. It is not recorded: what was
// done, and a refusal, is an Event.
type Reply struct {
	ID    string `json:"id"`
	Error string `json:"error,omitempty"`
	Wrong bool   `json:"-"` // refused for what was asked, not for how the rig is
	Event int    `json:"-"` // place of what was made among the events of its step
	Made  []byte `json:"-"` // the message of what was made, as it is told; nil where nothing was
}

// Wrong is why something is refused that would be refused whatever the rig did.
type Wrong struct{ Err error }

// Error is the reason.
func (w Wrong) Error() string { return w.Err.Error() }

// Unwrap is the reason.
func (w Wrong) Unwrap() error { return w.Err }

// Event is one thing that happened in a step. Exactly one pointer is set.
type Event struct {
	Alarm       *AlarmEvent
	Note        *Note
	TestPoint   *TestPoint
	Observation *Observation
	Collection  *Collection
	Experiment  *Experiment
	Strike      *Strike
}

// Class is a class of recorded messages, each with its own gap-free sequence.
type Class string

// The classes.
const (
	ClassRecord Class = "record"
	ClassAlarm  Class = "alarm"
	ClassEvent  Class = "event"
)

// Message is a recorded row, or an event that is told, as the wire carries it.
type Message struct {
	Class    Class
	Sequence int64  // within its class
	Name     string // of the alarm, for ClassAlarm
	Body     []byte // JSON
}

// Message is the event as the wire carries it, with the recording's UUID and its
// sequence there; 0 for one that is not on disk.
func (e Event) Message(recording string, sequence int64) Message {
	if e.Alarm != nil {
		return Message{Class: ClassAlarm, Sequence: sequence, Name: e.Alarm.Name, Body: AppendAlarm(nil, e.Alarm, recording, sequence)}
	}
	if e.Note != nil {
		return Message{Class: ClassEvent, Sequence: sequence, Body: AppendNote(nil, e.Note, recording, sequence)}
	}
	return Message{Class: ClassEvent, Sequence: sequence, Body: e.result(recording, sequence)}
}
