package engine

import (
	"math"
	"time"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/series"
	"flowrigd/daq/alarm"
)

// losses is what tube-blocked compares: the loss coefficient of now with that which
// the valve's present setting had at first, each as the mean of half a minute, which
// has the scatter of the readings and the slugs of the flow in its standard error.
type losses struct {
	window  *series.Window
	mean, u float64 // of the window, and its standard error
	known   bool
	base    pipe.Loss // its K is 0 where there is none
	baseU   float64   // standard error of its mean
}

const lossWindow, lossPoints = 30 * time.Second, 60

func newLosses() losses { return losses{window: series.NewWindow(lossWindow, lossPoints)} }

func (l *losses) forget() {
	l.base = pipe.Loss{}
	if l.window != nil {
		l.window.Reset()
	}
}

// blocked is Set while
//
//	K/K0 − 1 > max(U + 5·s, 0.02)
//
// U being the expanded uncertainty (k = 2) of what two states of one rig can differ by
// (pipe.Loss.Over), s the standard error of the two means, for which 2 would not do:
// it is looked at all day. Less than 0.02, 1 % of the flow, is nothing to look for in a
// tube (own choice). Half of the limit keeps the alarm up. K0 is the loss
// coefficient when the rig was first steady at this setting of the valve, or a later
// one that lies below it by as much. Acknowledging the alarm says that a person knows
// why (the valve was moved): it clears K0, and a new one is taken. After a restart
// there is none, nor after a reload that changes what the coefficient is computed from:
// an alarm that is active then stays active until it is acknowledged.
func (w *watchedAlarm) blocked(s *surroundings) alarm.Condition {
	l := &w.losses
	k, ok := s.state.Values.Get(quantity.LossCoefficient)
	if !ok || math.IsNaN(s.loss.U()) {
		l.window.Reset()
		return alarm.Unknown
	}
	if l.window.Add(s.state.Mono, k) {
		l.mean, l.u, l.known = l.window.Mean()
	}
	if w.alarm.State() == alarm.Acknowledged {
		l.base = pipe.Loss{}
	} else if w.alarm.Active() && l.base.K == 0 {
		return alarm.Unknown // after a restart: a blocked tube is nothing to compare with
	}
	if !l.known || 2*l.window.Covered() < lossWindow {
		return alarm.Unknown
	}
	now := *s.loss
	now.K = l.mean
	steady, _ := s.state.Values.Get(quantity.Steady)
	if l.base.K == 0 {
		if steady != 0 {
			l.base, l.baseU = now, l.u
		}
		return alarm.Clear
	}
	w.value = &k
	return l.judge(now, steady != 0, w.alarm.Active())
}

func (l *losses) judge(now pipe.Loss, steady, active bool) alarm.Condition {
	ratio := now.Over(&l.base)
	if math.IsNaN(ratio.X) {
		return alarm.Unknown
	}
	scatter := ratio.X * math.Hypot(l.u/now.K, l.baseU/l.base.K)
	limit := max(2*ratio.U+sureScatter*scatter, leastBlocked)
	switch {
	case steady && ratio.X < 1-limit:
		l.base, l.baseU = now, l.u
	case active:
		limit /= 2
	}
	return conditionOf(ratio.X-1 > limit)
}

const sureScatter, leastBlocked = 5, 0.02
