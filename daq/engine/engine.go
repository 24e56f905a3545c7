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
	"fmt"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/channel"
)

// Engine turns one input into the next state and what happened on the way. It
// is pure: the same inputs give the same states, whenever they are played.
type Engine struct {
	cfg                *config.Config
	channels           [quantity.Count]*channel.Channel
	rig                *rig
	alarms             []*watch
	permit             permit
	plausibility       *plausibility
	health             *daq.Health
	healthAt           time.Duration // monotonic, when health came
	state              daq.State
	measured           [quantity.Count]channel.Measured
	sampleAt           time.Duration
	restored           []daq.SavedAlarm
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

// removedInstrument is what the engine keeps of an instrument that a reload has
// removed, should it come back.
type removedInstrument struct {
	channel *channel.Channel
	at      time.Duration
}

// adopt builds everything from a configuration. Instruments that did not change
// keep their channel; those that did, and those that come back, keep how long they
// are overdue.
func (e *Engine) adopt(cfg *config.Config) error {
	r, err := newRig(cfg)
	if err != nil {
		return fmt.Errorf("engine: %w", err)
	}
	if e.rig != nil {
		r.inherit(e.rig)
	}
	every := readEvery(cfg, quantity.Temperature)
	switch {
	case e.plausibility == nil:
		e.plausibility = newPlausibility(every)
	case every != readEvery(e.cfg, quantity.Temperature):
		e.plausibility = e.plausibility.paced(every)
	}
	var channels [quantity.Count]*channel.Channel
	var ids []quantity.ID
	for _, in := range cfg.Instruments {
		channels[in.ID] = e.channel(in)
		ids = append(ids, in.ID)
	}
	for id, c := range e.channels {
		if c != nil && channels[id] == nil {
			e.removedInstruments[id] = removedInstrument{c, e.state.Mono}
		}
	}
	e.cfg, e.rig, e.channels = cfg, r, channels
	e.permit.cfg = cfg.Trip
	e.state.Instruments = ids
	e.measured = [quantity.Count]channel.Measured{} // nothing is known of an instrument that went
	e.state.Quality = [quantity.Count]daq.Quality{}
	return nil
}

// readEvery is the time between two readings of an instrument; 0 where there
// is none.
func readEvery(cfg *config.Config, id quantity.ID) time.Duration {
	if in := cfg.Instrument(id); in != nil {
		return in.Every
	}
	return 0
}

func (e *Engine) channel(in config.Instrument) *channel.Channel {
	old, c := e.channels[in.ID], channel.New(in)
	switch away := e.removedInstruments[in.ID]; {
	case old != nil && old.Is(in):
		return old
	case old != nil:
		c.Inherit(old)
	case away.channel != nil:
		c.Resume(away.channel, e.state.Mono-away.at)
	}
	return c
}

// Interval is the time between two ticks.
func (e *Engine) Interval() time.Duration { return e.cfg.Interval }

// Begin is the first input of a run.
func (e *Engine) Begin() daq.Input {
	return daq.Input{Kind: daq.KindStart, Start: &daq.Start{Configuration: e.cfg.SHA256, Config: e.cfg, Alarms: e.restored}}
}

// Step takes one input. The state is a copy; its slices are not changed later.
func (e *Engine) Step(in daq.Input) (daq.State, []daq.Event) {
	s := &e.state
	s.Input, s.Mono, s.Time, s.Synchronised = in.Number, in.Mono, in.Wall, in.Synchronised
	s.Tick, s.Fault = in.Kind == daq.KindTick, ""
	e.reply = nil
	events := e.take(&in)
	e.compute(&in)
	events = append(events, e.evaluateAlarms()...)
	events = append(events, e.guard(events)...)
	e.showPermit()
	s.Alarms = e.standing()
	s.Sample = s.Tick && e.sampleDue(in.Mono)
	return *s, events
}

// Reply is the answer to the command of the last step; nil where that had none.
func (e *Engine) Reply() *daq.Reply { return e.reply }

// take lets the input change what the engine knows.
func (e *Engine) take(in *daq.Input) []daq.Event {
	switch in.Kind {
	case daq.KindStart:
		e.place(in.Start.Alarms)
	case daq.KindReading:
		if c := e.channels[in.Reading.Instrument]; c != nil {
			e.state.Fault = c.Take(in.Reading, e.coldJunction)
		}
	case daq.KindNote:
		n := *in.Note
		n.Time = e.state.Time
		return []daq.Event{{Note: &n}}
	case daq.KindOutput:
		e.confirm(in.Output)
	case daq.KindHealth:
		e.health, e.healthAt = in.Health, in.Mono
	case daq.KindCommand:
		return e.command(in.Command)
	case daq.KindReload:
		return e.reload(in.Start)
	}
	return nil
}

// place makes the alarms of the configuration in the states given.
func (e *Engine) place(saved []daq.SavedAlarm) {
	states := byName(saved)
	e.alarms = e.alarms[:0]
	for _, def := range e.cfg.Alarms {
		e.alarms = append(e.alarms, newWatch(def, states, e.state.Mono, e.state.Time))
	}
	for _, s := range saved {
		e.raisedCount = max(e.raisedCount, s.Raised)
		if s.Tripped {
			e.permit.tripped = append(e.permit.tripped, s.Name)
		}
		if e.find(s.Name) == nil && (s.Tripped || s.State != alarm.Normal.String()) {
			e.alarms = append(e.alarms, newOrphan(s, states, e.state.Mono, e.state.Time))
		}
	}
}

// removedAlarm is an alarm that a reload has removed while it was normal.
type removedAlarm struct {
	*watch
	at time.Duration
}

// maxRemovedAlarms bounds how many are remembered, the last ones.
const maxRemovedAlarms = 100

// reload takes up a new configuration; alarms keep their states. One that is no
// longer configured stays until a person has seen it, and reset what it latched.
func (e *Engine) reload(start *daq.Start) []daq.Event {
	cfg := start.Config
	if cfg == nil {
		return nil
	}
	var events []daq.Event
	if !SameOutput(e.cfg, cfg) { // nobody gave it at the other place
		events = e.dropPermit("a reload moves its relay")
	}
	if err := e.adopt(cfg); err != nil {
		return append(events, daq.Event{Note: &daq.Note{Kind: "reload", Time: e.state.Time, Text: "refused: " + err.Error()}})
	}
	before, kept := e.alarms, map[string]*watch{}
	for _, w := range before {
		kept[w.def.Name] = w
	}
	e.alarms = nil
	for _, def := range cfg.Alarms {
		w := kept[def.Name]
		if w == nil {
			w = e.takeBack(func(l config.Alarm) bool { return l.Name == def.Name })
		}
		e.alarms = append(e.alarms, w) // nil for a new one
		delete(kept, def.Name)
	}
	var orphans []*watch
	for _, w := range before {
		switch {
		case kept[w.def.Name] == nil:
		case w.alarm.State() != alarm.Normal || e.permit.holds(w.def.Name):
			w.orphaned = true
			orphans = append(orphans, w)
		default:
			e.removedAlarms = append(e.removedAlarms, removedAlarm{w, e.state.Mono})
		}
	}
	for i, def := range cfg.Alarms {
		e.alarms[i] = e.keepWatch(e.alarms[i], def)
	}
	e.alarms = append(e.alarms, orphans...)
	e.removedAlarms = e.removedAlarms[max(0, len(e.removedAlarms)-maxRemovedAlarms):]
	return append(events, daq.Event{Note: &daq.Note{Kind: "reload", Time: e.state.Time, Text: "configuration " + cfg.SHA256 + " taken up"}})
}

func (e *Engine) keepWatch(old *watch, def config.Alarm) *watch {
	if old == nil {
		old = e.takeBack(func(l config.Alarm) bool { return watchesSame(l, def) })
	}
	if old == nil {
		return newWatch(def, nil, e.state.Mono, e.state.Time)
	}
	old.def, old.orphaned = def, false
	old.alarm.SetRule(old.rule())
	return old
}

// takeBack gives the last alarm that left and is the same; nil where there is none.
// A delay that ran goes on where it stood.
func (e *Engine) takeBack(same func(config.Alarm) bool) *watch {
	for i, l := range slices.Backward(e.removedAlarms) {
		if same(l.def) {
			e.removedAlarms = slices.Delete(e.removedAlarms, i, i+1)
			l.alarm.Shift(e.state.Mono - l.at)
			return l.watch
		}
	}
	return nil
}

// watchesSame says whether two alarms look at the same thing, whatever their limits.
func watchesSame(a, b config.Alarm) bool {
	return a.Kind == b.Kind && slices.Equal(a.On, b.On) && (a.Above == nil) == (b.Above == nil) && (a.Below == nil) == (b.Below == nil)
}

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
	s.Values = quantity.Set{}
	for _, id := range s.Instruments {
		m := e.channels[id].At(s.Mono)
		e.measured[id] = m
		s.Quality[id] = m.Quality
		if m.Quality.Usable() {
			s.Values.Put(id, m.Value)
		}
	}
	e.rig.derive(s, &e.measured, in)
	heater, known := e.heater()
	e.plausibility.look(s, in, e.maxFall(), heater, known)
	e.rig.countDown(s, e.plausibility)
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

// showPermit puts the permit into the state.
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

// toValue gives a measured value to a computation.
func toValue(m channel.Measured) (uncertainty.Value, bool) {
	return uncertainty.Value{X: m.Value, U: m.DominantU, Shape: m.Shape}, m.Quality.Usable()
}
