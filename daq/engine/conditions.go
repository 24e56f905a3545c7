package engine

import (
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
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
	case config.AlarmDisk, config.AlarmBroker, config.AlarmReceiver:
		return w.health(s)
	case config.AlarmNoSupply:
		return w.noSupply(s)
	case config.AlarmImplausible:
		return w.implausible(s)
	case config.AlarmBlocked:
		return w.blocked(s)
	case config.AlarmIneffective:
		return w.ineffective(s)
	}
	return w.limits(s.state)
}

// health judges what the daemon works with. That about receivers is Set when an alarm
// has waited for OnDelay, and Clear when none waits any more.
func (w *watchedAlarm) health(s *surroundings) alarm.Condition {
	if s.health == nil {
		return alarm.Unknown
	}
	switch r := s.health.Receivers; {
	case w.def.Kind == config.AlarmDisk:
		return conditionOf(!s.health.Recording)
	case w.def.Kind == config.AlarmBroker:
		return conditionOf(!s.health.Broker)
	case r.Failed == "" && r.Known:
		return alarm.Clear
	case r.Failed == "":
		return alarm.Unknown
	case w.alarm.Active():
		return alarm.Set
	}
	w.why = s.health.Receivers.Failed
	return conditionOf(s.health.Receivers.Waited+s.state.Mono-s.healthAt >= w.def.OnDelay)
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
			if worst == nil || l.Low && v < *worst || !l.Low && v > *worst {
				worst = &v
			}
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

// surroundings is what the alarms judge by in one step.
type surroundings struct {
	state        *daq.State
	health       *daq.Health   // nil before the first
	healthAt     time.Duration // monotonic, when it came
	plausibility *plausibility
	loss         *pipe.Loss    // of this state; its K is 0 where it is unknown
	contact      bool          // the heater's contact is configured
	given        bool          // the permit is
	dropped      time.Duration // monotonic, when the permit last dropped; 0: not since the start
	permit       bool          // there is one
}

// heater says whether the heater is on: as measured, or else as permitted.
func (s *surroundings) heater() (on, known bool) {
	if v, ok := s.state.Values.Get(quantity.HeaterOn); ok {
		return v != 0, true
	}
	if !s.contact && s.permit {
		return s.given, true
	}
	return false, false
}

// heated is what is known of the heater while it heats.
func (s *surroundings) heated() string {
	if !s.contact {
		return "heating has been permitted"
	}
	return "the heater has been on"
}

func (s *surroundings) sinceDrop() string {
	if s.dropped > 0 {
		return "the permit was dropped, and still "
	}
	return "the permit has not been given since this start, and "
}
