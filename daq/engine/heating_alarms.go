package engine

import (
	"cmp"
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// noSupply is Set while the heater is on or permitted and no supply is proven.
// Evidence that has gone bad proves nothing: heat without water is the one case
// in which a dead input must not hold the alarm back.
func (w *watchedAlarm) noSupply(s *surroundings) alarm.Condition {
	on, sure := s.heater()
	switch heating := on && sure || s.given; {
	case !heating && !sure:
		return alarm.Unknown
	case !heating:
		return alarm.Clear
	}
	proven, waiting := false, false
	for _, id := range w.def.On {
		v, ok := s.state.Values.Get(id)
		proven = proven || ok && w.proves(id, v)
		waiting = waiting || !ok && s.state.Quality[id].Grade == daq.Missing
		if id == quantity.SupplyFlow {
			w.value = known(s.state, id)
		}
	}
	if waiting && !proven {
		return alarm.Unknown
	}
	return conditionOf(!proven)
}

// known is a value of the state; nil where it is not known.
func known(s *daq.State, id quantity.ID) *float64 {
	if v, ok := s.Values.Get(id); ok {
		return &v
	}
	return nil
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
	t := known(s.state, quantity.Temperature)
	switch {
	case p.fell:
		w.why = fmt.Sprintf("it fell by %.1f K/s or more, and no tank cools faster than %.1f K/s", w.def.MaxFall, w.def.MaxFall)
	case p.unresponsive:
		w.why = fmt.Sprintf("%s for %.0f min with water flowing, and it has not risen by %.0f K", s.heated(), respondWithin.Minutes(), respondBy)
	case t == nil:
		return alarm.Unknown
	}
	w.value = cmp.Or(t, w.value)
	return conditionOf(p.fell || p.unresponsive)
}

// ineffective is Set while the water is heated although the permit is down. The
// alarm's on-delay gives the heater its time to go out.
func (w *watchedAlarm) ineffective(s *surroundings) alarm.Condition {
	if s.given {
		return alarm.Clear
	}
	w.value = cmp.Or(known(s.state, quantity.Temperature), w.value)
	switch on, rising := known(s.state, quantity.HeaterOn), s.plausibility.rising(); {
	case on != nil && *on != 0:
		w.why = s.sinceDrop() + "the heater draws power"
		return alarm.Set
	case !s.plausibility.hasSlope, !rising && s.contact && on == nil:
		return alarm.Unknown
	case rising:
		w.why = fmt.Sprintf("%sthe temperature rises by %.2f K/s", s.sinceDrop(), s.plausibility.slope)
		return alarm.Set
	}
	return alarm.Clear
}
