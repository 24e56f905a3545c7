package engine

import (
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// noSupply is Set while the heater is on or permitted and no supply is proven.
// Evidence that has gone bad proves nothing: heat without water is the one case
// in which a dead input must not hold the alarm back.
func (w *watchedAlarm) noSupply(s *surroundings) alarm.Condition {
	on, known := s.heater()
	heating := on && known || s.given
	if !heating {
		if !known {
			return alarm.Unknown
		}
		return alarm.Clear
	}
	proven, waiting := false, false
	for _, id := range w.def.On {
		switch v, ok := s.state.Values.Get(id); {
		case ok && w.proves(id, v):
			proven = true
		case !ok && s.state.Quality[id].Grade == daq.Missing:
			waiting = true
		}
		w.note(s.state, id)
	}
	if waiting && !proven {
		return alarm.Unknown
	}
	return conditionOf(!proven)
}

// note keeps the supply's flow as the alarm's value.
func (w *watchedAlarm) note(s *daq.State, id quantity.ID) {
	if id != quantity.SupplyFlow {
		return
	}
	w.value = nil
	if v, ok := s.Values.Get(id); ok {
		w.value = &v
	}
}

// proves says whether a piece of evidence shows a supply; while the alarm
// stands, a flow must exceed its limit by the deadband.
func (w *watchedAlarm) proves(id quantity.ID, v float64) bool {
	if id == quantity.SupplyOn {
		return v != 0
	}
	l := alarm.Limit{Value: *w.def.Below, Low: true, Deadband: w.def.Deadband}
	return l.Judge(v, w.alarm.Active()) == alarm.Clear
}

// implausible is Set while the temperature cannot be that of the water.
func (w *watchedAlarm) implausible(s *surroundings) alarm.Condition {
	p := s.plausibility
	v, known := s.state.Values.Get(quantity.Temperature)
	switch {
	case p.fell:
		w.why = fmt.Sprintf("it fell by %.1f K/s or more, and no tank cools faster than %.1f K/s", w.def.MaxFall, w.def.MaxFall)
	case p.unresponsive:
		w.why = fmt.Sprintf("%s for %.0f min with water flowing, and it has not risen by %.0f K", s.heated(), respondWithin.Minutes(), respondBy)
	case !known:
		return alarm.Unknown
	}
	if known {
		w.value = &v
	}
	return conditionOf(p.fell || p.unresponsive)
}

// ineffective is Set while the water is heated although the permit is down. The
// alarm's on-delay gives the heater its time to go out.
func (w *watchedAlarm) ineffective(s *surroundings) alarm.Condition {
	if s.given {
		return alarm.Clear
	}
	if v, ok := s.state.Values.Get(quantity.Temperature); ok {
		w.value = &v
	}
	on, known := s.state.Values.Get(quantity.HeaterOn)
	if known && on != 0 {
		w.why = s.sinceDrop() + "the heater draws power"
		return alarm.Set
	}
	if !s.plausibility.hasSlope {
		return alarm.Unknown
	}
	if !s.plausibility.rising() && s.contact && !known {
		return alarm.Unknown
	}
	if s.plausibility.rising() {
		w.why = fmt.Sprintf("%sthe temperature rises by %.2f K/s", s.sinceDrop(), s.plausibility.slope)
	}
	return conditionOf(s.plausibility.rising())
}

// blocked is Set while
//
//	k > k0 + u + u0
//
// k being the loss coefficient, u its uncertainty, and k0 ± u0 the baseline: the
// lowest k since the rig was first steady at this setting of the valve.
// Acknowledging the alarm says that a person knows why (the valve was moved): it
// clears the baseline, and a new one is taken. After a restart there is no
// baseline: an alarm that is active then stays active until it is acknowledged.
func (w *watchedAlarm) blocked(s *daq.State) alarm.Condition {
	k, ok := s.Values.Get(quantity.LossCoefficient)
	u, okU := s.Values.Get(quantity.LossCoefficientUncertainty)
	steady, _ := s.Values.Get(quantity.Steady)
	if !ok || !okU {
		return alarm.Unknown
	}
	if w.alarm.State() == alarm.Acknowledged {
		w.baseline.known = false
	} else if w.alarm.Active() && !w.baseline.known {
		return alarm.Unknown // after a restart: a blocked tube is nothing to compare with
	}
	if !w.baseline.known || k < w.baseline.k {
		if steady != 0 || w.baseline.known {
			w.baseline = baseline{k, u, true}
		}
		return conditionOf(false)
	}
	w.value = &k
	excess := k - w.baseline.k
	return conditionOf(excess > u+w.baseline.u)
}
