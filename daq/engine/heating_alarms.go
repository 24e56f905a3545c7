package engine

import (
	"fmt"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// heater says whether the heater is on: as measured, or else as permitted.
func (e *Engine) heater() (on, known bool) {
	if v, ok := e.state.Values.Get(quantity.HeaterOn); ok {
		return v != 0, true
	}
	if e.cfg.Instrument(quantity.HeaterOn) == nil && e.permit.cfg != nil {
		return e.permit.given, true
	}
	return false, false
}

// heated is what is known of the heater while it heats.
func (e *Engine) heated() string {
	if e.cfg.Instrument(quantity.HeaterOn) == nil {
		return "heating has been permitted"
	}
	return "the heater has been on"
}

// maxFall is the fall of temperature that no tank makes, K/s.
func (e *Engine) maxFall() float64 {
	for _, w := range e.alarms {
		if w.def.Kind == config.AlarmImplausible {
			return w.def.MaxFall
		}
	}
	return 0
}

// noSupply is Set while the heater is on or permitted and no supply is proven.
// Evidence that has gone bad proves nothing: heat without water is the one case
// in which a dead input must not hold the alarm back.
func (w *watch) noSupply(e *Engine) alarm.Condition {
	on, known := e.heater()
	heating := on && known || e.permit.given
	if !heating {
		if !known {
			return alarm.Unknown
		}
		return alarm.Clear
	}
	proven, waiting := false, false
	for _, id := range w.def.On {
		switch v, ok := e.state.Values.Get(id); {
		case ok && w.proves(id, v):
			proven = true
		case !ok && e.state.Quality[id].Grade == daq.Missing:
			waiting = true
		}
		w.note(e, id)
	}
	if waiting && !proven {
		return alarm.Unknown
	}
	return conditionOf(!proven)
}

// note keeps the supply's flow as the alarm's value.
func (w *watch) note(e *Engine, id quantity.ID) {
	if id != quantity.SupplyFlow {
		return
	}
	w.value = nil
	if v, ok := e.state.Values.Get(id); ok {
		w.value = &v
	}
}

// proves says whether a piece of evidence shows a supply; while the alarm
// stands, a flow must exceed its limit by the deadband.
func (w *watch) proves(id quantity.ID, v float64) bool {
	if id == quantity.SupplyOn {
		return v != 0
	}
	l := alarm.Limit{Value: *w.def.Below, Low: true, Deadband: w.def.Deadband}
	return l.Judge(v, w.alarm.Active()) == alarm.Clear
}

// implausible is Set while the temperature cannot be that of the water.
func (w *watch) implausible(e *Engine) alarm.Condition {
	p := e.plausibility
	v, known := e.state.Values.Get(quantity.Temperature)
	switch {
	case p.fell:
		w.why = fmt.Sprintf("it fell by %.1f K/s or more, and no tank cools faster than %.1f K/s", w.def.MaxFall, w.def.MaxFall)
	case p.unresponsive:
		w.why = fmt.Sprintf("%s for %.0f min with water flowing, and it has not risen by %.0f K", e.heated(), respondWithin.Minutes(), respondBy)
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
func (w *watch) ineffective(e *Engine) alarm.Condition {
	if e.permit.given {
		return alarm.Clear
	}
	if v, ok := e.state.Values.Get(quantity.Temperature); ok {
		w.value = &v
	}
	on, known := e.state.Values.Get(quantity.HeaterOn)
	if known && on != 0 {
		w.why = e.sinceDrop() + "the heater draws power"
		return alarm.Set
	}
	if !e.plausibility.hasSlope {
		return alarm.Unknown
	}
	if !e.plausibility.rising() && e.cfg.Instrument(quantity.HeaterOn) != nil && !known {
		return alarm.Unknown
	}
	if e.plausibility.rising() {
		w.why = fmt.Sprintf("%sthe temperature rises by %.2f K/s", e.sinceDrop(), e.plausibility.slope)
	}
	return conditionOf(e.plausibility.rising())
}

// sinceDrop says why the permit is down.
func (e *Engine) sinceDrop() string {
	if e.permit.dropped > 0 {
		return "the permit was dropped, and still "
	}
	return "the permit has not been given since this start, and "
}

// baseline is the loss coefficient that the valve's present setting had.
type baseline struct {
	k, u  float64
	known bool
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
func (w *watch) blocked(e *Engine) alarm.Condition {
	k, ok := e.state.Values.Get(quantity.LossCoefficient)
	u, okU := e.state.Values.Get(quantity.LossCoefficientUncertainty)
	steady, _ := e.state.Values.Get(quantity.Steady)
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
