package engine

import (
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// watch is one configured alarm with what it saw last.
type watch struct {
	def      config.Alarm
	alarm    *alarm.Alarm
	since    time.Time
	until    time.Time // wall label of the end of shelving
	value    *float64
	why      string // beside the cause: the sentence of the reading, or which sign was seen
	baseline baseline
	sets     chatter
	raised   int64 // place in the order in which alarms came; 0: it never came
	orphaned bool  // it left the configuration before a person was done with it
}

// limit is the alarm's limit in the units of the table; nil for faults.
func (w *watch) limit() *float64 {
	if w.def.Above != nil {
		return w.def.Above
	}
	return w.def.Below
}

func (w *watch) rule() alarm.Rule {
	r := alarm.Rule{Latch: w.def.Latch, OnDelay: w.def.OnDelay, OffDelay: w.def.OffDelay}
	if w.def.Kind == config.AlarmReceiver {
		r.OnDelay = 0 // each waiting alarm has its own
	}
	return r
}

// condition judges what the alarm watches. A missing or bad input is Unknown,
// which holds the alarm as it is.
func (w *watch) condition(e *Engine) alarm.Condition {
	s := &e.state
	if w.orphaned {
		return alarm.Clear
	}
	switch w.def.Kind {
	case config.AlarmFault:
		return w.fault(s.Quality[w.def.On[0]])
	case config.AlarmDisk:
		return health(e.health, func() bool { return e.health.Recording })
	case config.AlarmBroker:
		return health(e.health, func() bool { return e.health.Broker })
	case config.AlarmReceiver:
		return w.receivers(e)
	case config.AlarmNoSupply:
		return w.noSupply(e)
	case config.AlarmImplausible:
		return w.implausible(e)
	case config.AlarmBlocked:
		return w.blocked(e)
	case config.AlarmIneffective:
		return w.ineffective(e)
	}
	return w.limits(s)
}

func health(h *daq.Health, fine func() bool) alarm.Condition {
	if h == nil {
		return alarm.Unknown
	}
	return conditionOf(!fine())
}

// receivers is Set when an alarm has waited for OnDelay, and Clear when none
// waits any more.
func (w *watch) receivers(e *Engine) alarm.Condition {
	if e.health == nil {
		return alarm.Unknown
	}
	r := e.health.Receivers
	switch {
	case r.Failed == "" && r.Known:
		return alarm.Clear
	case r.Failed == "":
		return alarm.Unknown
	case w.alarm.Active():
		return alarm.Set
	}
	w.why = r.Failed
	return conditionOf(r.Waited+e.state.Mono-e.healthAt >= w.def.OnDelay)
}

// conditionOf is Set when set, and Clear otherwise.
func conditionOf(set bool) alarm.Condition {
	if set {
		return alarm.Set
	}
	return alarm.Clear
}

func (w *watch) fault(q daq.Quality) alarm.Condition {
	switch q.Grade {
	case daq.Missing:
		return alarm.Unknown
	case daq.Bad:
		if !w.alarm.Active() {
			w.why = q.Why
		}
		return alarm.Set
	}
	return alarm.Clear
}

// limits is Set when any of the quantities is past the limit, Clear when all
// of them are known to be on the right side.
func (w *watch) limits(s *daq.State) alarm.Condition {
	result, worst := alarm.Clear, (*float64)(nil)
	l := alarm.Limit{Value: *w.limit(), Low: w.def.Below != nil, Deadband: w.def.Deadband}
	for _, id := range w.def.On {
		v, known := s.Values.Get(id)
		switch {
		case !known && result == alarm.Clear:
			result = alarm.Unknown
		case known:
			worst = further(worst, v, l.Low)
			if l.Judge(v, w.alarm.Active()) == alarm.Set {
				result = alarm.Set
			}
		}
	}
	if worst != nil {
		w.value = worst
	}
	return result
}

func further(worst *float64, v float64, low bool) *float64 {
	if worst == nil || (low && v < *worst) || (!low && v > *worst) {
		return &v
	}
	return worst
}

// status is the alarm as it stands; p is the permit that it may hold.
func (w *watch) status(now time.Duration, p *permit) daq.AlarmStatus {
	state := w.alarm.State()
	a := daq.AlarmStatus{
		Name: w.def.Name, State: state.String(), Priority: w.def.Priority,
		Since: w.since, Value: w.value, Limit: w.limit(),
		Cause: w.cause(), Consequence: w.def.Consequence, Action: w.def.Action,
		Active: state.Stands(), CauseStands: w.alarm.Active() && state.Watches(), Acknowledged: state.Seen(),
		Trips: p.cfg != nil && w.def.Trip && state.Watches() && !w.orphaned, Tripped: p.holds(w.def.Name),
		Chattering: w.sets.chatters(now),
	}
	if state == alarm.Shelved {
		a.Until = w.until
	}
	return a
}

func (w *watch) cause() string {
	if w.why == "" {
		return w.def.Cause
	}
	return w.def.Cause + " " + sentence(w.why)
}

// event is the transition that just happened.
func (w *watch) event(at time.Time, who string) *daq.AlarmEvent {
	w.since = at
	e := &daq.AlarmEvent{
		Name: w.def.Name, State: w.alarm.State().String(), Priority: w.def.Priority, Time: at,
		Value: w.value, Limit: w.limit(), Cause: w.cause(), Consequence: w.def.Consequence,
		Action: w.def.Action, Who: who, Beneath: w.alarm.Beneath(), Raised: w.raised,
	}
	if w.alarm.State() == alarm.Shelved {
		e.Until = w.until
	}
	return e
}

// newOrphan brings back an alarm that is not configured any more: nothing
// watches for it, and a person must still acknowledge and reset it, or the trip
// that it holds would never end.
func newOrphan(s daq.SavedAlarm, saved map[string]daq.SavedAlarm, now time.Duration, wall time.Time) *watch {
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
func newWatch(def config.Alarm, saved map[string]daq.SavedAlarm, now time.Duration, wall time.Time) *watch {
	w := &watch{def: def, since: wall}
	s, ok := saved[def.Name]
	state, err := alarm.Parse(s.State)
	if !ok || err != nil {
		w.alarm = alarm.New(w.rule())
		return w
	}
	w.since, w.until, w.value, w.raised = s.Since, s.Until, s.Value, s.Raised
	w.alarm = alarm.Restore(w.rule(), state, beneath(&s, w.def.Latch), now+shelvedFor(s, wall))
	return w
}

// shelvedFor is how much longer a saved alarm stays shelved: never longer than
// it was shelved for, though the clock may have started in the past.
func shelvedFor(s daq.SavedAlarm, wall time.Time) time.Duration {
	return max(0, min(s.Until.Sub(wall), s.Until.Sub(s.Since)))
}

// beneath is what stands beneath a saved alarm's state. Where a recording did not
// keep it, one that is silenced and holds the permit must still be acknowledged.
func beneath(s *daq.SavedAlarm, latch bool) *alarm.Beneath {
	if s.Beneath == nil && s.Tripped {
		return &alarm.Beneath{Latched: latch, Unseen: true}
	}
	return s.Beneath
}
