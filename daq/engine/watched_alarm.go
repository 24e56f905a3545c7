package engine

import (
	"strings"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// watchedAlarm is one configured alarm with what it saw last.
type watchedAlarm struct {
	def      config.Alarm
	alarm    *alarm.Alarm
	since    time.Time
	until    time.Time // wall label of the end of shelving
	value    *float64
	why      string // beside the cause: the sentence of the reading, or which sign was seen
	losses   losses // of tube-blocked
	sets     chatter
	raised   int64 // place in the order in which alarms came; 0: it never came
	orphaned bool  // it left the configuration before a person was done with it

	acknowledgedBy string // the last who did; "": nobody in this run
}

// limit is the alarm's limit in the units of the table; nil for faults.
func (w *watchedAlarm) limit() *float64 {
	if w.def.Above != nil {
		return w.def.Above
	}
	return w.def.Below
}

func (w *watchedAlarm) rule() alarm.Rule {
	r := alarm.Rule{Latch: w.def.Latch, OnDelay: w.def.OnDelay, OffDelay: w.def.OffDelay}
	if w.def.Kind == config.AlarmReceiver {
		r.OnDelay = 0 // each waiting alarm has its own
	}
	return r
}

// trips says whether the alarm takes the permit away. Shelving silences an
// alarm and does not disarm it; out of service and suppressed do.
func (w *watchedAlarm) trips() bool {
	return w.def.Trip && w.alarm.Active() && w.alarm.State().Watches()
}

func conditionOf(set bool) alarm.Condition {
	if set {
		return alarm.Set
	}
	return alarm.Clear
}

// status is the alarm as it stands; permit says whether there is one, and holds
// whether this alarm holds it.
func (w *watchedAlarm) status(now time.Duration, permit, holds bool) daq.AlarmStatus {
	state := w.alarm.State()
	a := daq.AlarmStatus{
		Name: w.def.Name, State: state.String(), Priority: w.def.Priority,
		Since: w.since, Value: w.value, Limit: w.limit(),
		Cause: w.cause(), Consequence: w.def.Consequence, Action: w.def.Action,
		Active: state.Stands(), CauseStands: w.alarm.Active() && state.Watches(), Acknowledged: state.IsAcknowledged(),
		Trips: permit && w.def.Trip && state.Watches() && !w.orphaned, Tripped: holds,
		Chattering: w.sets.chatters(now),
	}
	if state == alarm.Shelved {
		a.Until = w.until
	}
	return a
}

func (w *watchedAlarm) cause() string {
	if w.why == "" {
		return w.def.Cause
	}
	sentence := strings.TrimSuffix(w.why, ".") + "."
	if sentence[0] >= 'a' && sentence[0] <= 'z' {
		sentence = string(sentence[0]-'a'+'A') + sentence[1:]
	}
	return w.def.Cause + " " + sentence
}

func (w *watchedAlarm) event(at time.Time, who string) *daq.AlarmEvent {
	w.since = at
	e := &daq.AlarmEvent{
		Name: w.def.Name, State: w.alarm.State().String(), Priority: w.def.Priority, Time: at,
		Value: w.value, Limit: w.limit(), Cause: w.cause(), Consequence: w.def.Consequence,
		Action: w.def.Action, Who: who, Underlying: w.alarm.Underlying(), Raised: w.raised,
	}
	if w.alarm.State() == alarm.Shelved {
		e.Until = w.until
	}
	return e
}

// newOrphan brings back an alarm that is not configured any more: nothing
// watches for it, and a person must still acknowledge and reset it, or the trip
// that it holds would never end.
func newOrphan(s daq.SavedAlarm, saved map[string]daq.SavedAlarm, now time.Duration, wall time.Time) *watchedAlarm {
	def := config.Alarm{
		Name: s.Name, Priority: "high", Latch: s.Tripped,
		Cause:       "Raised under an earlier configuration; the current one no longer has this alarm.",
		Consequence: "Nothing watches for its cause any more.",
		Action:      "Leave the heater off until you know what became of its cause, then acknowledge and reset it.",
	}
	if s.Name == daq.JournalUnread {
		def.Cause = "The journal of alarms could not be read at the start, or the file that keeps trips and the recording do not belong together; the log says which, and why."
		def.Consequence = "Whether a trip stands from before is not known."
		def.Action = "Leave the heater off until you have seen that the rig is safe to heat; then acknowledge and reset. Mend the recording, or the file, where the log names a fault of it."
	}
	w := newWatch(def, saved, now, wall)
	w.orphaned = true
	return w
}

// newWatch makes an alarm, in the state it was saved in where there is one.
func newWatch(def config.Alarm, saved map[string]daq.SavedAlarm, now time.Duration, wall time.Time) *watchedAlarm {
	w := &watchedAlarm{def: def, since: wall}
	if def.Kind == config.AlarmBlocked {
		w.losses = newLosses()
	}
	s, ok := saved[def.Name]
	state, err := alarm.Parse(s.State)
	if !ok || err != nil {
		w.alarm = alarm.New(w.rule())
		return w
	}
	w.since, w.until, w.value, w.raised = s.Since, s.Until, s.Value, s.Raised
	// Where a recording did not keep what stands beneath a state, an alarm that is
	// silenced and holds the permit must still be acknowledged.
	if s.Underlying == nil && s.Tripped {
		s.Underlying = &alarm.Underlying{Latched: def.Latch, Unacknowledged: true}
	}
	// It is never shelved longer than it was, though the clock may have started in the past.
	shelved := max(0, min(s.Until.Sub(wall), s.Until.Sub(s.Since)))
	w.alarm = alarm.Restore(w.rule(), state, s.Underlying, now+shelved)
	return w
}

// chatter remembers when an alarm was set last, to name one that chatters:
// three times or more within a minute (common practice; secondary sources of
// the two standards).
type chatter struct {
	at [3]time.Duration
	n  int
}

const chatterWithin = time.Minute

func (c *chatter) set(at time.Duration) {
	c.at[c.n%len(c.at)] = at
	c.n++
}

func (c *chatter) chatters(now time.Duration) bool {
	return c.n >= len(c.at) && now-c.at[c.n%len(c.at)] <= chatterWithin
}
