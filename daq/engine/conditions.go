package engine

import (
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// condition judges what the alarm watches. A missing or bad input is Unknown,
// which holds the alarm as it is.
func (w *watchedAlarm) condition(s *surroundings) alarm.Condition {
	if w.orphaned {
		return alarm.Clear
	}
	switch w.def.Kind {
	case config.AlarmFault:
		return w.fault(s.state.Quality[w.def.On[0]])
	case config.AlarmDisk:
		return health(s.health, func() bool { return s.health.Recording })
	case config.AlarmBroker:
		return health(s.health, func() bool { return s.health.Broker })
	case config.AlarmReceiver:
		return w.receivers(s)
	case config.AlarmNoSupply:
		return w.noSupply(s)
	case config.AlarmImplausible:
		return w.implausible(s)
	case config.AlarmBlocked:
		return w.blocked(s.state)
	case config.AlarmIneffective:
		return w.ineffective(s)
	}
	return w.limits(s.state)
}

func health(h *daq.Health, fine func() bool) alarm.Condition {
	if h == nil {
		return alarm.Unknown
	}
	return conditionOf(!fine())
}

// receivers is Set when an alarm has waited for OnDelay, and Clear when none
// waits any more.
func (w *watchedAlarm) receivers(s *surroundings) alarm.Condition {
	if s.health == nil {
		return alarm.Unknown
	}
	r := s.health.Receivers
	switch {
	case r.Failed == "" && r.Known:
		return alarm.Clear
	case r.Failed == "":
		return alarm.Unknown
	case w.alarm.Active():
		return alarm.Set
	}
	w.why = r.Failed
	return conditionOf(r.Waited+s.state.Mono-s.healthAt >= w.def.OnDelay)
}

func (w *watchedAlarm) fault(q daq.Quality) alarm.Condition {
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
func (w *watchedAlarm) limits(s *daq.State) alarm.Condition {
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
