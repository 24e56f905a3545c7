// Package engine owns the one step of the rig: what comes in changes what is
// known, the quantities are derived from it, every alarm looks at them, and the
// heating permit is judged.
//
//	Input → channels → derived quantities → command → alarms → permit → State and Events
//
// It is pure: the same inputs give the same states, whenever they are played. It has
// no clock, file, line or goroutine; daq/live drives it.
package engine

import (
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
	"flowrigd/daq/experiment"
)

// Engine turns one input into the next state and what happened on the way.
type Engine struct {
	cfg                *config.Config
	channels           [quantity.Count]*channel.Channel
	derived            *derived
	thread             thread // of dye
	alarms             []*watchedAlarm
	permit             permit
	plausibility       *plausibility
	notebook           *experiment.Notebook
	health             *daq.Health
	healthAt           time.Duration // monotonic, when health came
	state              daq.State
	measured           [quantity.Count]channel.Measured
	sampleAt           time.Duration
	restored           []daq.SavedAlarm
	remembered         *daq.Remembered
	removedInstruments [quantity.Count]removedInstrument // instruments that left the configuration
	removedAlarms      []removedAlarm                    // alarms that did, and were normal
	raisedCount        int64                             // how many alarms have come, those of earlier runs included
	reply              *daq.Reply                        // to the command of the last step
}

// New makes an engine for a checked configuration, with the alarms as
// they were recorded last.
func New(cfg *config.Config, restored []daq.SavedAlarm) (*Engine, error) {
	e := &Engine{restored: restored}
	if err := e.adopt(cfg); err != nil {
		return nil, err
	}
	return e, nil
}

// Interval is the time between two ticks.
func (e *Engine) Interval() time.Duration { return e.cfg.Interval }

// Remember lets the run begin with the experiment that ran before; nil for none.
func (e *Engine) Remember(r *daq.Remembered) { e.remembered = r }

// Begin is the first input of a run.
func (e *Engine) Begin() daq.Input {
	return daq.Input{Kind: daq.KindStart, Start: &daq.Start{Configuration: e.cfg.SHA256, Config: e.cfg, Alarms: e.restored, Remembered: e.remembered}}
}

// Step takes one input. The state is a copy; its slices are not changed later.
func (e *Engine) Step(in daq.Input) (daq.State, []daq.Event) {
	s := &e.state
	s.Input, s.Mono, s.Time, s.Synchronised = in.Number, in.Mono, in.Wall, in.Synchronised
	s.Tick, s.Fault = in.Kind == daq.KindTick, ""
	e.reply = nil
	var events []daq.Event
	switch in.Kind {
	case daq.KindStart:
		e.place(in.Start.Alarms)
		e.notebook.Restore(in.Start.Remembered)
	case daq.KindReading:
		if c := e.channels[in.Reading.Instrument]; c != nil {
			c.Date(in.Wall)
			s.Fault = c.Take(in.Reading, e.coldJunction)
		}
	case daq.KindNote:
		n := *in.Note
		n.Time = s.Time
		events = []daq.Event{{Note: &n}}
	case daq.KindOutput:
		e.confirm(in.Output)
	case daq.KindHealth:
		e.health, e.healthAt = in.Health, in.Mono
	case daq.KindReload:
		events = e.reload(in.Start)
	}
	e.compute(&in)
	events = append(events, e.watchDye(&in)...)
	if in.Kind == daq.KindCommand { // it sees the state of its own step
		before := len(events)
		events = append(events, e.command(in.Command)...)
		e.reply.Event = before
	}
	events = append(events, e.evaluateAlarms()...)
	events = append(events, e.guard(events)...)
	e.showPermit()
	s.Alarms = e.standing()
	events = append(events, e.notebook.Step(s)...)
	events = append(events, e.notebook.Watch(s)...)
	s.Sample = s.Tick && e.sampleDue(in.Mono)
	return *s, events
}

// Reply is the answer to the command of the last step; nil where that had none.
func (e *Engine) Reply() *daq.Reply { return e.reply }

// coldJunction gives a channel the reading of another one as its cold junction.
func (e *Engine) coldJunction(id quantity.ID) (channel.Measured, bool) {
	if c := e.channels[id]; c != nil {
		return c.At(e.state.Mono), true
	}
	return channel.Measured{}, false
}

// compute fills the state from what the channels hold at this time.
func (e *Engine) compute(in *daq.Input) {
	s := &e.state
	s.Values, s.U = quantity.Set{}, quantity.Set{}
	for _, id := range s.Instruments {
		e.measured[id] = e.channels[id].At(s.Mono)
	}
	e.weighLevel()
	for _, id := range s.Instruments {
		m := &e.measured[id]
		s.Quality[id] = m.Quality
		if m.Quality.Usable() {
			s.Values.Put(id, m.Value)
		}
	}
	e.derived.derive(s, &e.measured, in)
	e.derived.measureFriction(s, &e.measured)
	around := e.surroundings()
	heater, known := around.heater()
	e.plausibility.look(s, in, e.maxFall(), heater, known)
	e.derived.countDown(s, e.plausibility)
	if e.health != nil && e.health.Slow != "" {
		s.Warnings = append(slices.Clip(s.Warnings), e.health.Slow)
	}
}

func (e *Engine) sampleDue(now time.Duration) bool {
	if now < e.sampleAt {
		return false
	}
	e.sampleAt = NextDue(e.sampleAt, now, e.cfg.Record.Every)
	return true
}

func (e *Engine) showPermit() {
	p := &e.permit
	e.state.Permit, e.state.Tripped = p.demand(), nil
	e.state.Given, e.state.ProofTest = p.given, p.given && p.proof > 0
	if p.cfg == nil {
		return
	}
	e.state.Tripped, e.state.Without, e.state.Unwatched = slices.Clone(p.tripped), slices.Clone(p.without), e.unwatched()
	e.state.Values.PutBool(quantity.HeatingPermitted, p.permitted(e.state.Mono))
}
