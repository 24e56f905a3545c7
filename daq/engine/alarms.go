package engine

import (
	"math"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

func (e *Engine) find(name string) *watchedAlarm {
	for _, w := range e.alarms {
		if w.def.Name == name {
			return w
		}
	}
	return nil
}

// names are those of every alarm, for a person.
func (e *Engine) names() string {
	list := make([]string, len(e.alarms))
	for i, w := range e.alarms {
		list[i] = w.def.Name
	}
	return strings.Join(list, ", ")
}

// unwatched are the alarms that would trip and are out of service.
func (e *Engine) unwatched() []string {
	var list []string
	for _, w := range e.alarms {
		if w.def.Trip && !w.orphaned && !w.alarm.State().Watches() {
			list = append(list, w.def.Name)
		}
	}
	return list
}

// maxFall is the fall of temperature that no tank makes, K/s; infinite where no alarm
// asks for it, so that a reload which brings the alarm finds no fall of before.
func (e *Engine) maxFall() float64 {
	for _, w := range e.alarms {
		if w.def.Kind == config.AlarmImplausible {
			return w.def.MaxFall
		}
	}
	return math.Inf(1)
}

// evaluateAlarms lets every alarm look at the state, and gives the transitions. What latches
// beneath a silenced state is one too: a restart knows of it from the last event
// alone.
func (e *Engine) evaluateAlarms() []daq.Event {
	var events []daq.Event
	around := e.surroundings()
	for _, w := range e.alarms {
		before := w.alarm.Underlying()
		changed := w.alarm.Update(w.condition(&around), e.state.Mono)
		after := w.alarm.Underlying()
		if after.Active && !before.Active {
			e.raisedCount++
			w.raised = e.raisedCount
			if e.permit.cfg != nil && w.trips() {
				w.alarm.RequireAcknowledge() // a trip that nobody saw is not reset
			}
		}
		switch {
		case changed:
			events = append(events, e.raised(w)...)
		case after.Latched && !before.Latched:
			events = append(events, e.transition(w, ""))
		}
		if w.alarm.State() == alarm.Normal && !w.alarm.Active() && !changed {
			w.why = "" // the reason of a fault that is over, once it has been told
		}
	}
	return events
}

// raised gives the transition of an alarm that changed by itself, and names it
// when it begins to chatter.
func (e *Engine) raised(w *watchedAlarm) []daq.Event {
	events := []daq.Event{e.transition(w, "")}
	if w.alarm.State() != alarm.Unacknowledged {
		return events
	}
	before := w.sets.chatters(e.state.Mono)
	w.sets.set(e.state.Mono)
	if w.sets.chatters(e.state.Mono) && !before {
		events = append(events, daq.Event{Note: &daq.Note{Kind: "chattering", Time: e.state.Time,
			Text: w.def.Name + " was set three times within a minute: widen its deadband or delay, or mend its instrument"}})
	}
	return events
}

func (e *Engine) transition(w *watchedAlarm, who string) daq.Event {
	a := w.event(e.state.Time, who)
	a.Tripped = e.permit.holds(w.def.Name) || e.permit.cfg != nil && w.trips()
	return daq.Event{Alarm: a}
}

// standing are the alarms that are not normal, as they are now.
func (e *Engine) standing() []daq.AlarmStatus {
	var list []daq.AlarmStatus
	first, came := -1, int64(0)
	for _, w := range e.alarms {
		state := w.alarm.State()
		if state == alarm.Normal {
			continue
		}
		if !state.Silenced() && (first < 0 || w.raised < came) {
			first, came = len(list), w.raised
		}
		list = append(list, w.status(e.state.Mono, e.permit.cfg != nil, e.permit.holds(w.def.Name)))
	}
	if first >= 0 {
		list[first].FirstOut = true
	}
	return list
}

func (e *Engine) surroundings() surroundings {
	return surroundings{
		state: &e.state, health: e.health, healthAt: e.healthAt, plausibility: e.plausibility, loss: &e.derived.loss,
		contact: e.cfg.Instrument(quantity.HeaterOn) != nil,
		permit:  e.permit.cfg != nil, given: e.permit.given, dropped: e.permit.dropped,
	}
}
