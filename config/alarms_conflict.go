package config

import (
	"fmt"
	"math"
	"slices"

	"flowrigd/calc/quantity"
)

// checkConflict refuses two alarms on one quantity that cannot both be at rest,
// or that say the same; the later one in the list is the one to change. No two
// built-in alarms share a quantity.
func (l *loader) checkConflict(earlier, a *Alarm) {
	id, ok := earlier.shares(a)
	if !ok {
		return
	}
	key, limit := a.limit()
	_, other := earlier.limit()
	d := DimensionOf(id)
	at := l.alarmPlace(a, key, id)
	switch {
	case (a.Above == nil) == (earlier.Above == nil):
		if *limit == *other {
			l.report.add(at, fmt.Sprintf("alarms.%s says the same as alarms.%s: both are raised when %s passes %s", a.Name, earlier.Name, spokenName(id), Format(*limit, d)), "leave one out, or write another limit")
		}
	case a.Above != nil:
		l.checkGap(at, a, earlier, d)
	default:
		l.checkGap(at, earlier, a, d)
	}
}

// shares gives the first quantity whose limits both alarms watch.
func (a *Alarm) shares(b *Alarm) (quantity.ID, bool) {
	if !a.limited() || !b.limited() {
		return 0, false
	}
	for _, id := range a.On {
		if slices.Contains(b.On, id) {
			return id, true
		}
	}
	return 0, false
}

// limited reports an alarm that is raised by its limit alone.
func (a *Alarm) limited() bool {
	return (a.Kind == AlarmLimit || a.Kind == AlarmRate) && (a.Above != nil || a.Below != nil)
}

// checkGap refuses a high and a low limit between which no value lets both
// alarms rest: what clears one raises the other.
func (l *loader) checkGap(at place, high, low *Alarm, d Dimension) {
	lowest, highest := *low.Below+low.Deadband, *high.Above-high.Deadband
	if *low.Below <= *high.Above && lowest <= *high.Above && highest >= *low.Below {
		return
	}
	l.report.add(at, fmt.Sprintf("alarms.%s above %s fights alarms.%s below %s: with their deadbands of %s and %s what clears one raises the other", high.Name, Format(*high.Above, d), low.Name, Format(*low.Below, d), Format(high.Deadband, d.difference()), Format(low.Deadband, d.difference())),
		"write limits further apart, or smaller deadbands")
}

// reach is what a derived quantity can be, by its nature and by the ranges of
// the instruments that it is made from; nil where nothing is known.
func (c *Config) reach(id quantity.ID) *Range {
	switch id {
	case quantity.ProbabilityBelow, quantity.ProbabilityBetween, quantity.ProbabilityAbove:
		return &Range{0, 1}
	case quantity.Head:
		if in := c.Instrument(quantity.Level); in != nil && in.Range != nil {
			return &Range{in.Range.Low + c.Tank.Drop.X, in.Range.High + c.Tank.Drop.X}
		}
	case quantity.Velocity:
		if in := c.Instrument(quantity.Flow); in != nil && in.Range != nil && c.Tube.Bore.X > 0 {
			narrow := c.Tube.Bore.X - 2*c.Tube.Bore.U
			return &Range{0, in.Range.High / (math.Pi / 4 * narrow * narrow)}
		}
	case quantity.TemperatureRate, quantity.LossCoefficient:
		return nil
	}
	if !quantity.Table[id].Measured {
		return &Range{0, math.Inf(1)}
	}
	return nil
}

// checkReach refuses a limit on a derived quantity that no value passes, or
// from which no value comes back.
func (l *loader) checkReach(a *Alarm, key string, limit float64) {
	id := a.On[0]
	r := l.config.reach(id)
	if r == nil {
		return
	}
	d := DimensionOf(id)
	name, at := spokenName(id), l.alarmPlace(a, key, id)
	switch {
	case a.Above != nil && limit >= r.High, a.Below != nil && limit <= r.Low:
		l.report.add(at, fmt.Sprintf("alarms.%s: the limit of %s is never passed: the %s %s", a.Name, Format(limit, d), name, r.text(d)), "write a limit within that")
	case a.Above != nil && limit-a.Deadband <= r.Low, a.Below != nil && limit+a.Deadband >= r.High:
		l.report.add(at, fmt.Sprintf("alarms.%s: with a deadband of %s it never clears: the %s %s", a.Name, Format(a.Deadband, d.difference()), name, r.text(d)), "change the limit or the deadband")
	}
}

func (r *Range) text(d Dimension) string {
	if math.IsInf(r.High, 1) {
		return "is never below " + Format(r.Low, d)
	}
	return fmt.Sprintf("lies between %s and %s", Format(r.Low, d), Format(r.High, d))
}
