// Package daq owns the words of the program and nothing else: Reading, Input,
// State, Event, Command, and how they are written for other programs.
//
//	bytes → Reading → Input → engine → State and Events → recording → everybody else
//
// What is done with them stands in the packages below it.
package daq

import (
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// Grade is how far a reading may be believed. The zero value is missing.
type Grade uint8

// The grades.
const (
	Missing Grade = iota // no value came yet, and none is overdue
	Bad
	Uncertain
	Good
)

// Quality is a grade with the reason in a sentence.
type Quality struct {
	Grade Grade
	Why   string // "" when good
}

// String is the word of the interfaces: "good", "uncertain: why", "bad: why".
func (q Quality) String() string {
	switch q.Grade {
	case Good:
		return "good"
	case Uncertain:
		return "uncertain: " + q.Why
	case Bad:
		return "bad: " + q.Why
	}
	if q.Why != "" {
		return "bad: " + q.Why
	}
	return "bad: no reading yet"
}

// Usable says whether a value of this quality may enter a computation.
func (q Quality) Usable() bool { return q.Grade >= Uncertain }

// Reason classes a fault for counters.
type Reason string

// The reasons a reading can be bad or doubtful. "" is no fault.
const (
	ReasonPort      Reason = "port"      // the line is missing, busy or was unplugged
	ReasonTimeout   Reason = "timeout"   // no answer, or half of one
	ReasonChecksum  Reason = "checksum"  // the frame's check failed
	ReasonProtocol  Reason = "protocol"  // an answer that the protocol forbids
	ReasonException Reason = "exception" // the slave refused
	ReasonFormat    Reason = "format"    // a line that does not match the pattern
	ReasonRange     Reason = "range"     // outside what the sensor can measure
	ReasonOpen      Reason = "open"      // an open or shorted sensor
	ReasonStep      Reason = "step"      // a jump larger than max_step
	ReasonFrozen    Reason = "frozen"    // unchanged for too long
	ReasonStale     Reason = "stale"     // too old
)

// Reading is what one exchange with an instrument gave: the number on the wire,
// or why there is none. A fault is a Reading with an Error, never silence.
type Reading struct {
	Instrument quantity.ID
	Number     float64 // as decoded from the wire, before unit or scale
	Count      uint64  // the same for a pulse counter, exact
	Reason     Reason  // "" when the exchange was clean
	Error      string  // a sentence for a person; "" when clean
	Took       time.Duration
	At         time.Duration // monotonic, when the last byte came (or the fault was known)
}

// Kind of an input.
type Kind uint8

// The kinds of input.
const (
	KindStart Kind = iota // a run begins: configuration and restored alarms
	KindReading
	KindTick // so that silence is seen
	KindCommand
	KindHealth
	KindReload
	KindOutput // the permit relay confirmed, or did not
	KindNote   // something to journal that came from outside the engine
)

// Input is all that enters the engine: a recording of inputs replays to the
// same states and events.
type Input struct {
	Number       uint64        // counts from 1 in each run
	Mono         time.Duration // monotonic since the run began
	Wall         time.Time     // a label only
	Synchronised bool          // whether the wall clock is known to be right
	Kind         Kind
	Reading      Reading  // KindReading
	Command      *Command // KindCommand
	Health       *Health  // KindHealth
	Start        *Start   // KindStart, KindReload
	Output       *Output  // KindOutput
	Note         *Note    // KindNote; its time is the input's
}

// Truncate gives the input with its times in whole microseconds: less is noise, and would
// be most of what a recording of inputs takes.
func (in Input) Truncate() Input {
	in.Mono, in.Wall = in.Mono.Truncate(time.Microsecond), in.Wall.Truncate(time.Microsecond)
	in.Reading.At, in.Reading.Took = in.Reading.At.Truncate(time.Microsecond), in.Reading.Took.Truncate(time.Microsecond)
	return in
}

// Start is what a run or a reload begins with.
type Start struct {
	Configuration string         `json:"configuration"` // SHA-256
	Alarms        []SavedAlarm   `json:"alarms,omitempty"`
	Remembered    *Remembered    `json:"remembered,omitempty"` // nil where no experiment ran
	Config        *config.Config `json:"-"`                    // its text is recorded with the input that names it
}

// Health tells the engine how its surroundings do.
type Health struct {
	Recording bool `json:"recording"` // the disk answers
	Broker    bool `json:"broker"`    // the broker is connected

	Slow string `json:"slow,omitempty"` // what does not follow the speed of a simulated rig; "" where all does

	Receivers Receivers `json:"receivers,omitzero"`
}

// Receivers is how alarms wait for those who are to be told of them.
type Receivers struct {
	Known  bool          `json:"known,omitempty"`  // each has been asked since the start, or has nothing to be told
	Failed string        `json:"failed,omitempty"` // who has not taken an alarm, and why; "" for nobody
	Waited time.Duration `json:"waited,omitempty"` // so long had the oldest such alarm waited at this input
}

// Output is what came of one write to the permit relay.
type Output struct {
	On    bool   `json:"on"`
	Error string `json:"error,omitempty"` // "" when the relay confirmed
}

// State is the rig as the engine knows it after one input.
type State struct {
	Input        uint64
	Mono         time.Duration
	Time         time.Time
	Synchronised bool
	Tick         bool   // the state of an interval, not of a reading between
	Fault        Reason // of the reading that made this state; "" when it was clean
	Sample       bool   // to be recorded as a row
	Values       quantity.Set
	U            quantity.Set            // standard uncertainty of each, in its unit; unknown where none is stated
	Quality      [quantity.Count]Quality // of each configured instrument
	Instruments  []quantity.ID           // the configured ones; shared, read only
	Alarms       []AlarmStatus           // those not normal; a fresh slice when changed
	Permit       bool                    // what the permit output shall be
	Given        bool                    // a person has given the permit; a proof test drops the output alone
	ProofTest    bool                    // a proof test runs: the permit is given and comes back by itself
	Without      []string                // alarms out of service that the permit was given without
	Unwatched    []string                // alarms that would trip, and are out of service
	Tripped      []string                // alarms that hold the permit's latch
	Warnings     []string                // what a person should know beside the numbers
	WaitsFor     string                  // what settling_seconds counts down to; "" when it is unknown or the rig is steady
	Experiment   *Progress               // the experiment that runs; nil for none; never changed once it is here
}
