package daq

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"flowrigd/calc/uncertainty"
	"flowrigd/config"
)

// Verb is the word for what a person asks of the engine.
type Verb string

// The verbs.
const (
	Acknowledge     Verb = "acknowledge"
	Reset           Verb = "reset"
	Shelve          Verb = "shelve"
	Unshelve        Verb = "unshelve"
	OutOfService    Verb = "out-of-service"
	ReturnToService Verb = "return-to-service"
	Give            Verb = "give"       // the heating permit
	Withdraw        Verb = "withdraw"   // the heating permit
	ProofTest       Verb = "proof-test" // of the heating permit
	Still           Verb = "still"      // of the dye thread: take it as it is now

	Capture   Verb = "capture" // a test point
	Observe   Verb = "observe" // what the dye shows
	Collect   Verb = "collect" // water caught over measured seconds
	TakeNote  Verb = "note"
	StrikeOut Verb = "strike"

	StartExperiment Verb = "start-experiment"
	StopExperiment  Verb = "stop-experiment"
)

// Command is a person's wish, answered by one Reply.
type Command struct {
	ID  string `json:"id"`
	Who string `json:"who"`
	Ask Ask    `json:"-"` // what is wanted; recorded beside these, see MarshalJSON
	// Until is the monotonic time after which it is not obeyed any more; 0: for ever,
	// as in a recording of before.
	Until time.Duration `json:"until,omitempty"`
	Left  bool          `json:"left,omitempty"` // who asked does not wait for the answer any more

	// Waited is how long it has waited already before the engine is asked; that is part
	// of the time in which it must be obeyed.
	Waited time.Duration `json:"-"`

	Caller context.Context `json:"-"` // ends when who asked waits no more; nil: nobody asked who could leave
	Answer chan<- Reply    `json:"-"` // gets the Reply, and has room for it; nil: nobody waits
}

// Ask is what a person wants, with what that needs and nothing else. A new verb is a
// type here, a row of asks, and a case of the engine's.
type Ask interface{ Verb() Verb }

// What is asked of an alarm, and of the heating permit.
type (
	AlarmAsk struct { // acknowledge, reset, unshelve, out-of-service, return-to-service
		Do     Verb   `json:"-"`
		Alarm  string `json:"alarm"`
		Reason string `json:"reason,omitempty"`
	}
	ShelveAsk struct {
		Alarm  string        `json:"alarm"`
		For    time.Duration `json:"for"`
		Reason string        `json:"reason,omitempty"`
	}
	GiveAsk struct {
		// Without names the alarms out of service that the permit is given without.
		Without []string `json:"without,omitempty"`
	}
	PermitAsk struct { // withdraw, proof-test
		Do Verb `json:"-"`
	}
	StillAsk struct{} // take the next 10 s as the still thread
)

// What is asked of the notebook.
type (
	CaptureAsk struct {
		Point string `json:"point,omitempty"` // the condition in words
	}
	ObserveAsk struct {
		Seen string `json:"seen"` // laminar, transitional or turbulent
		Note string `json:"note,omitempty"`
	}
	// CollectAsk has either Volume or Mass, and either Start with Stop or Seconds.
	CollectAsk struct {
		Volume            *uncertainty.Value `json:"volume,omitempty"` // m³
		Mass              *uncertainty.Value `json:"mass,omitempty"`   // kg
		Start             time.Time          `json:"start,omitzero"`
		Stop              time.Time          `json:"stop,omitzero"`
		Seconds           float64            `json:"seconds,omitempty"` // by a stopwatch, in the steady flow of now
		Vessel            string             `json:"vessel,omitempty"`  // its material
		VesselTemperature *uncertainty.Value `json:"vessel_temperature,omitempty"`
	}
	NoteAsk struct {
		Kind string `json:"kind"` // valve, inlet, air or other
		Text string `json:"text,omitempty"`
	}
	StrikeAsk struct {
		Of     string `json:"of"`     // test-point, observation or collection
		Struck int64  `json:"struck"` // its sequence
		Reason string `json:"reason"`

		Experiment string `json:"experiment,omitempty"` // of a test point
		Point      string `json:"point,omitempty"`      // of a test point, its condition
	}
	// StartExperimentAsk names a plan of the configuration, or brings its own.
	StartExperimentAsk struct {
		Plan string           `json:"plan,omitempty"`
		Own  *config.PlanText `json:"own,omitempty"`
	}
	StopExperimentAsk struct {
		Experiment string `json:"experiment"` // its ID
	}
)

// Verb is StartExperiment.
func (*StartExperimentAsk) Verb() Verb { return StartExperiment }

// Verb is StopExperiment.
func (*StopExperimentAsk) Verb() Verb { return StopExperiment }

// Verb is Capture.
func (*CaptureAsk) Verb() Verb { return Capture }

// Verb is Observe.
func (*ObserveAsk) Verb() Verb { return Observe }

// Verb is Collect.
func (*CollectAsk) Verb() Verb { return Collect }

// Verb is TakeNote.
func (*NoteAsk) Verb() Verb { return TakeNote }

// Verb is StrikeOut.
func (*StrikeAsk) Verb() Verb { return StrikeOut }

// Verb is the word for it.
func (a *AlarmAsk) Verb() Verb { return a.Do }

// Verb is Shelve.
func (*ShelveAsk) Verb() Verb { return Shelve }

// Verb is Give.
func (*GiveAsk) Verb() Verb { return Give }

// Verb is the word for it.
func (a *PermitAsk) Verb() Verb { return a.Do }

// Verb is Still.
func (*StillAsk) Verb() Verb { return Still }

// NewAsk gives an empty one of a verb's type; nil for a word that is no verb.
func NewAsk(v Verb) Ask {
	switch v {
	case Acknowledge, Reset, Unshelve, OutOfService, ReturnToService:
		return &AlarmAsk{Do: v}
	case Shelve:
		return &ShelveAsk{}
	case Give:
		return &GiveAsk{}
	case Withdraw, ProofTest:
		return &PermitAsk{Do: v}
	case Still:
		return &StillAsk{}
	case Capture:
		return &CaptureAsk{}
	case Observe:
		return &ObserveAsk{}
	case Collect:
		return &CollectAsk{}
	case TakeNote:
		return &NoteAsk{}
	case StrikeOut:
		return &StrikeAsk{}
	case StartExperiment:
		return &StartExperimentAsk{}
	case StopExperiment:
		return &StopExperimentAsk{}
	}
	return nil
}

// AskAlarm is what is asked of an alarm; length is of shelving alone. It is nil for a
// verb that no alarm has.
func AskAlarm(v Verb, alarm, reason string, length time.Duration) Ask {
	switch a := NewAsk(v).(type) {
	case *AlarmAsk:
		a.Alarm, a.Reason = alarm, reason
		return a
	case *ShelveAsk:
		a.Alarm, a.Reason, a.For = alarm, reason, length
		return a
	}
	return nil
}

// Verb is what is asked; "" for nothing.
func (c *Command) Verb() Verb {
	if c.Ask == nil {
		return ""
	}
	return c.Ask.Verb()
}

// Alarm is the alarm of which it is asked; "" where it is asked of something else.
func (c *Command) Alarm() string {
	switch a := c.Ask.(type) {
	case *AlarmAsk:
		return a.Alarm
	case *ShelveAsk:
		return a.Alarm
	}
	return ""
}

type plainCommand Command

// MarshalJSON writes a command as one object: its verb, and beside it what the verb
// needs.
func (c Command) MarshalJSON() ([]byte, error) {
	head, err := json.Marshal(struct {
		Verb Verb `json:"verb"`
		plainCommand
	}{c.Verb(), plainCommand(c)})
	if err != nil || c.Ask == nil {
		return head, err
	}
	body, err := json.Marshal(c.Ask)
	if err != nil || len(body) <= len("{}") {
		return head, err
	}
	return append(append(head[:len(head)-1], ','), body[1:]...), nil
}

// UnmarshalJSON reads one, of any build that recorded it.
func (c *Command) UnmarshalJSON(data []byte) error {
	var head struct {
		Verb Verb `json:"verb"`
		plainCommand
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return err
	}
	*c = Command(head.plainCommand)
	if c.Ask = NewAsk(head.Verb); c.Ask == nil {
		return fmt.Errorf("command: %q is not a verb", head.Verb)
	}
	return json.Unmarshal(data, c.Ask)
}
