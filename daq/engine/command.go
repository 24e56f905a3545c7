package engine

import (
	"cmp"
	"errors"
	"fmt"
	"strings"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// command does what a person asked, or refuses with a reason. Either way there
// is one Reply, and a refusal is journalled as a note.
func (e *Engine) command(c *daq.Command) []daq.Event {
	if err := tooLate(c, e.state.Mono); err != nil {
		return e.refuse(c, err)
	}
	switch c.Verb {
	case daq.Give, daq.Withdraw, daq.ProofTest:
		return e.permitCommand(c)
	}
	w := e.find(c.Alarm)
	if w == nil {
		return e.refuse(c, fmt.Errorf("there is no alarm of that name; there are %s", e.names()))
	}
	before, held := w.alarm.State(), e.permit.holds(w.def.Name)
	if err := e.apply(w, c); err != nil {
		return e.refuse(c, err)
	}
	e.reply = &daq.Reply{ID: c.ID}
	var events []daq.Event
	// A new length of shelving is kept as well: it must outlive a restart.
	if w.alarm.State() != before || c.Verb == daq.Shelve || held != e.permit.holds(w.def.Name) {
		events = append(events, e.transition(w, c.Who))
	}
	if c.Reason != "" {
		events = append(events, daq.Event{Note: &daq.Note{Kind: string(c.Verb), Time: e.state.Time, Who: c.Who,
			Text: c.Alarm + ": " + c.Reason}})
	}
	return events
}

// CommandLife is how long a command may wait to be obeyed.
const CommandLife = 2 * time.Second

// tooLate says why a command is not obeyed any more: who made it has seen that
// nothing came of it, and may be gone or have changed the rig by hand since. To
// withdraw the permit is obeyed however late, for that is the safe direction.
func tooLate(c *daq.Command, now time.Duration) error {
	switch {
	case c.Verb == daq.Withdraw:
		return nil
	case c.Left:
		return errors.New("who asked for it does not wait for the answer any more: ask again")
	case c.Until > 0 && now > c.Until:
		return fmt.Errorf("it was asked for more than %g s ago, or the program has stood still since: look at the rig, and ask again", CommandLife.Seconds())
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

// transition is the event of an alarm that just changed.
func (e *Engine) transition(w *watch, who string) daq.Event {
	a := w.event(e.state.Time, who)
	a.Tripped = e.permit.holds(w.def.Name) || e.permit.cfg != nil && w.trips()
	return daq.Event{Alarm: a}
}

func (e *Engine) apply(w *watch, c *daq.Command) error {
	switch c.Verb {
	case daq.Acknowledge:
		return w.alarm.Acknowledge()
	case daq.Reset:
		return e.reset(w)
	case daq.Shelve:
		if err := w.alarm.Shelve(c.For, e.state.Mono); err != nil {
			return err
		}
		w.until = e.state.Time.Add(c.For)
		return nil
	case daq.Unshelve:
		return w.alarm.Unshelve()
	case daq.OutOfService:
		return w.alarm.Remove()
	case daq.ReturnToService:
		return w.alarm.Return()
	}
	return fmt.Errorf("%q is not something an alarm can do: use acknowledge, reset, shelve, unshelve, out-of-service or return-to-service", c.Verb)
}

// reset releases a latched alarm, and the latch that the alarm holds on the
// permit, be the alarm latched itself or not.
func (e *Engine) reset(w *watch) error {
	err := w.alarm.Reset()
	if errors.Is(err, alarm.ErrNotLatched) && e.permit.holds(w.def.Name) {
		err = nil
		if w.alarm.State().Unseen() {
			err = alarm.ErrUnseen
		}
	}
	if err == nil {
		e.permit.release(w.def.Name)
	}
	return err
}

func (e *Engine) refuse(c *daq.Command, why error) []daq.Event {
	text := fmt.Sprintf("%s %s: refused: %v", c.Verb, cmp.Or(c.Alarm, "heating permit"), why)
	e.reply = &daq.Reply{ID: c.ID, Error: text}
	return []daq.Event{{Note: &daq.Note{Kind: "refused", Time: e.state.Time, Who: c.Who, Text: text}}}
}

func (e *Engine) find(name string) *watch {
	for _, w := range e.alarms {
		if w.def.Name == name {
			return w
		}
	}
	return nil
}

// evaluateAlarms lets every alarm look at the state, and gives the transitions. What latches
// beneath a silenced state is one too: a restart knows of it from the last event
// alone.
func (e *Engine) evaluateAlarms() []daq.Event {
	var events []daq.Event
	for _, w := range e.alarms {
		before := w.alarm.Beneath()
		changed := w.alarm.Sense(w.condition(e), e.state.Mono)
		after := w.alarm.Beneath()
		if after.Active && !before.Active {
			e.raisedCount++
			w.raised = e.raisedCount
			if e.permit.cfg != nil && w.trips() {
				w.alarm.MustBeSeen() // a trip that nobody saw is not reset
			}
		}
		switch {
		case changed:
			events = append(events, e.raised(w)...)
		case after.Latched && !before.Latched:
			events = append(events, e.transition(w, ""))
		}
		if w.alarm.State() == alarm.Normal && !w.alarm.Active() {
			w.forget(changed)
		}
	}
	return events
}

// forget drops the reason of a fault that is over, once it has been told.
func (w *watch) forget(told bool) {
	if !told {
		w.why = ""
	}
}

// raised gives the transition of an alarm that changed by itself, and names it
// when it begins to chatter.
func (e *Engine) raised(w *watch) []daq.Event {
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
		list = append(list, w.status(e.state.Mono, &e.permit))
	}
	if first >= 0 {
		list[first].FirstOut = true
	}
	return list
}

// byName indexes saved alarms.
func byName(list []daq.SavedAlarm) map[string]daq.SavedAlarm {
	m := make(map[string]daq.SavedAlarm, len(list))
	for _, s := range list {
		m[s.Name] = s
	}
	return m
}

// sentence gives a reason a capital and a full stop.
func sentence(why string) string {
	if why == "" {
		return ""
	}
	last := why[len(why)-1]
	if last != '.' {
		why += "."
	}
	if why[0] >= 'a' && why[0] <= 'z' {
		why = string(why[0]-'a'+'A') + why[1:]
	}
	return why
}
