package engine

import (
	"fmt"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
	"flowrigd/daq/channel"
	"flowrigd/daq/experiment"
)

// removedInstrument is what the engine keeps of an instrument that a reload has
// removed, should it come back.
type removedInstrument struct {
	channel *channel.Channel
	at      time.Duration
}

// removedAlarm is an alarm that a reload has removed while it was normal.
type removedAlarm struct {
	*watchedAlarm
	at time.Duration
}

// maxRemovedAlarms bounds how many are remembered, the last ones.
const maxRemovedAlarms = 100

// adopt builds everything from a configuration. Instruments that did not change
// keep their channel; those that did, and those that come back, keep how long they
// are overdue.
func (e *Engine) adopt(cfg *config.Config) error {
	r, err := newDerived(cfg)
	if err != nil {
		return fmt.Errorf("engine: %w", err)
	}
	if e.derived != nil {
		r.inherit(e.derived)
	}
	every := cfg.Every(quantity.Temperature)
	switch {
	case e.plausibility == nil:
		e.plausibility = newPlausibility(every)
	case every != e.cfg.Every(quantity.Temperature):
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
	if e.notebook == nil {
		e.notebook = experiment.New(cfg)
	}
	e.notebook.Adopt(cfg)
	e.cfg, e.derived, e.channels = cfg, r, channels
	e.permit.cfg = cfg.Trip
	e.thread.adopt(cfg)
	e.state.Instruments = ids
	e.measured = [quantity.Count]channel.Measured{} // nothing is known of an instrument that went
	e.state.Quality = [quantity.Count]daq.Quality{}
	return nil
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

// place makes the alarms of the configuration in the states given.
func (e *Engine) place(saved []daq.SavedAlarm) {
	states := make(map[string]daq.SavedAlarm, len(saved))
	for _, s := range saved {
		states[s.Name] = s
	}
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

// reload takes up a new configuration; alarms keep their states. One that is no
// longer configured stays until a person has seen it, and reset what it latched.
func (e *Engine) reload(start *daq.Start) []daq.Event {
	cfg := start.Config
	if cfg == nil {
		return nil
	}
	var events []daq.Event
	if !config.SameOutput(e.cfg, cfg) { // nobody gave it at the other place
		events = e.dropPermit("a reload moves its relay")
	}
	old, channels := e.cfg, e.channels
	if err := e.adopt(cfg); err != nil {
		return append(events, daq.Event{Note: &daq.Note{Kind: "reload", Time: e.state.Time, Text: "refused: " + err.Error()}})
	}
	before, kept := e.alarms, map[string]*watchedAlarm{}
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
	var orphans []*watchedAlarm
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
	if old.Physics() != cfg.Physics() || e.measuresAnew(channels) {
		e.forgetLosses()
	}
	return append(events, daq.Event{Note: &daq.Note{Kind: "reload", Time: e.state.Time, Text: "configuration " + cfg.SHA256 + " taken up"}})
}

// measuresAnew says whether what the loss coefficient is measured by has changed.
func (e *Engine) measuresAnew(old [quantity.Count]*channel.Channel) bool {
	for _, id := range []quantity.ID{quantity.Flow, quantity.Temperature, quantity.Level, quantity.Meter} {
		if old[id] != e.channels[id] {
			return true
		}
	}
	return false
}

// forgetLosses lets tube-blocked begin anew: a bore, a drop or a correction that was
// wrong before is no blockage.
func (e *Engine) forgetLosses() {
	for _, w := range e.alarms {
		w.losses.forget()
	}
	for _, r := range e.removedAlarms {
		r.losses.forget()
	}
}

func (e *Engine) keepWatch(old *watchedAlarm, def config.Alarm) *watchedAlarm {
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
func (e *Engine) takeBack(same func(config.Alarm) bool) *watchedAlarm {
	for i, l := range slices.Backward(e.removedAlarms) {
		if same(l.def) {
			e.removedAlarms = slices.Delete(e.removedAlarms, i, i+1)
			l.alarm.Shift(e.state.Mono - l.at)
			return l.watchedAlarm
		}
	}
	return nil
}

// watchesSame says whether two alarms look at the same thing, whatever their limits.
func watchesSame(a, b config.Alarm) bool {
	return a.Kind == b.Kind && slices.Equal(a.On, b.On) && (a.Above == nil) == (b.Above == nil) && (a.Below == nil) == (b.Below == nil)
}
