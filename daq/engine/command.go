package engine

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// command does what a person asked, or refuses with a reason. Either way there
// is one reply, and a refusal is journalled as a note.
func (e *Engine) command(c *daq.Command) []daq.Event {
	if err := tooLate(c, e.state.Mono); err != nil {
		return e.refuse(c, err)
	}
	switch c.Ask.(type) {
	case *daq.GiveAsk, *daq.PermitAsk:
		return e.permitCommand(c)
	case *daq.StillAsk:
		return e.dyeCommand(c)
	}
	if note, ok, err := e.notebook.Obey(c, &e.state); ok {
		return e.noted(c, note, err)
	}
	w := e.find(c.Alarm())
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
	if w.alarm.State() != before || c.Verb() == daq.Shelve || held != e.permit.holds(w.def.Name) {
		events = append(events, e.transition(w, c.Who))
	}
	if why := reasonOf(c.Ask); why != "" {
		events = append(events, daq.Event{Note: &daq.Note{Kind: string(c.Verb()), Time: e.state.Time, Who: c.Who,
			Text: c.Alarm() + ": " + why}})
	}
	return events
}

// noted answers what was asked of the notebook.
func (e *Engine) noted(c *daq.Command, note daq.Event, err error) []daq.Event {
	if err != nil {
		return e.refuse(c, err)
	}
	if a, ok := c.Ask.(*daq.NoteAsk); ok && a.Kind == "valve" {
		e.forgetLosses() // tube-blocked compares with the new setting
	}
	e.reply = &daq.Reply{ID: c.ID}
	return []daq.Event{note}
}

// reasonOf is the reason that a person gave; "" for none.
func reasonOf(ask daq.Ask) string {
	switch a := ask.(type) {
	case *daq.AlarmAsk:
		return a.Reason
	case *daq.ShelveAsk:
		return a.Reason
	}
	return ""
}

// CommandLife is how long a command may wait to be obeyed.
const CommandLife = 2 * time.Second

// tooLate says why a command is not obeyed any more: who made it has seen that
// nothing came of it, and may be gone or have changed the rig by hand since. To
// withdraw the permit is obeyed however late, for that is the safe direction.
func tooLate(c *daq.Command, now time.Duration) error {
	switch {
	case c.Verb() == daq.Withdraw:
		return nil
	case c.Left:
		return errors.New("who asked for it does not wait for the answer any more: ask again")
	case c.Until > 0 && now > c.Until:
		return fmt.Errorf("it was asked for more than %g s ago, or the program has stood still since: look at the rig, and ask again", CommandLife.Seconds())
	}
	return nil
}

func (e *Engine) apply(w *watchedAlarm, c *daq.Command) error {
	switch c.Verb() {
	case daq.Acknowledge:
		return w.acknowledge(c.Who)
	case daq.Reset:
		return e.reset(w)
	case daq.Shelve:
		length := c.Ask.(*daq.ShelveAsk).For
		if err := w.alarm.Shelve(length, e.state.Mono); err != nil {
			return err
		}
		w.until = e.state.Time.Add(length)
		return nil
	case daq.Unshelve:
		return w.alarm.Unshelve()
	case daq.OutOfService:
		return w.alarm.Remove()
	case daq.ReturnToService:
		return w.alarm.Return()
	}
	return fmt.Errorf("%q is not something an alarm can do: use acknowledge, reset, shelve, unshelve, out-of-service or return-to-service", c.Verb())
}

// acknowledge tells who comes second who was first.
func (w *watchedAlarm) acknowledge(who string) error {
	err := w.alarm.Acknowledge()
	switch {
	case err == nil:
		w.acknowledgedBy = who
	case errors.Is(err, alarm.ErrAlready) && w.acknowledgedBy != "":
		return fmt.Errorf("%w, by %s", err, w.acknowledgedBy)
	}
	return err
}

// reset releases a latched alarm, and the latch that the alarm holds on the
// permit, be the alarm latched itself or not.
func (e *Engine) reset(w *watchedAlarm) error {
	err := w.alarm.Reset()
	if errors.Is(err, alarm.ErrNotLatched) && e.permit.holds(w.def.Name) {
		err = nil
		if w.alarm.State().NeedsAcknowledge() {
			err = alarm.ErrUnacknowledged
		}
	}
	if err == nil {
		e.permit.tripped = slices.DeleteFunc(e.permit.tripped, func(held string) bool { return held == w.def.Name })
	}
	return err
}

// permitCommand gives, withdraws or proves the permit, or says why not.
func (e *Engine) permitCommand(c *daq.Command) []daq.Event {
	text, err := e.applyPermit(c)
	if err != nil {
		return e.refuse(c, err)
	}
	e.reply = &daq.Reply{ID: c.ID}
	return []daq.Event{e.permitNote(c.Who, text)}
}

// object is that of which something is asked; "" for the notebook.
func object(c *daq.Command) string {
	switch c.Ask.(type) {
	case *daq.GiveAsk, *daq.PermitAsk:
		return "heating permit"
	case *daq.StillAsk:
		return "thread"
	}
	return c.Alarm()
}

func (e *Engine) refuse(c *daq.Command, why error) []daq.Event {
	text := fmt.Sprintf("%s: refused: %v", strings.TrimSpace(string(c.Verb())+" "+object(c)), why)
	var wrong daq.Wrong
	e.reply = &daq.Reply{ID: c.ID, Error: text, Wrong: errors.As(why, &wrong)}
	return []daq.Event{{Note: &daq.Note{Kind: "refused", Time: e.state.Time, Who: c.Who, Text: text}}}
}
