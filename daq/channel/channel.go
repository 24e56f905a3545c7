// Package channel owns how the number on the wire becomes a quantity with its
// uncertainty and quality.
//
//	number → guards → unit, scale or pulses → thermocouple → range → correct → Measured
//
// It is pure: the same readings at the same times give the same values. It reads no
// line (daq/instrument does) and knows one instrument alone, but for the cold
// junction of a thermocouple.
package channel

import (
	"cmp"
	"fmt"
	"math"
	"reflect"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

// Measured is a quantity as it stands: what the number on the wire means.
type Measured struct {
	Value     float64           // SI units, degrees Celsius, or 0 and 1; NaN when bad
	DominantU float64           // standard uncertainty of the largest contribution; NaN when no accuracy is stated
	Shape     uncertainty.Shape // of the distribution behind DominantU
	OtherU    float64           // of all other contributions together, taken as normal; the total is the root of the sum of squares
	Quality   daq.Quality
	Reason    daq.Reason // "" when good; of a doubt or a fault otherwise
}

// Channel turns the readings of one instrument into its quantity.
type Channel struct {
	in      config.Instrument
	convert convert
	guard   guard
	motion  motion

	last   Measured // the last believable one
	lastAt time.Duration
	seen   bool          // last holds something
	born   time.Duration // when it was first asked; its patience begins then
	asked  bool

	fault     string // what came after it; "" when nothing did
	reason    daq.Reason
	probation int // readings that must be believable before one counts again
}

// probationReadings is how many believable readings in a row count again after a number
// that no sensor sends: with the words or bytes in a wrong order some look right
// by chance. Two of them wait, which is less than the least stale_after.
const probationReadings = 3

// New makes the channel of a checked instrument.
func New(in config.Instrument) *Channel {
	return &Channel{in: in, convert: newConvert(in), guard: guard{in: in}, motion: newMotion(in)}
}

// Inherit makes the channel go on where another one of the same quantity stood, under
// other settings: how long a good reading is overdue belongs to what is measured and
// not to the settings. The last good value stands until it is stale, as after a
// fault.
func (c *Channel) Inherit(old *Channel) {
	c.last, c.lastAt, c.seen, c.born, c.asked = old.last, old.lastAt, old.seen, old.born, old.asked
	c.fault, c.reason = old.fault, old.reason
	if c.seen && c.fault == "" {
		c.fault, c.reason = "its settings have changed, and no reading has come under the new ones", daq.ReasonStale
	}
	c.guard.inherit(&old.guard)
}

// Resume makes the channel that of an instrument that was not configured for a
// while. That time does not count, and nothing is known of what it would read now.
func (c *Channel) Resume(old *Channel, away time.Duration) {
	c.born, c.asked = old.born, old.asked
	if old.seen {
		c.born = old.lastAt
	}
	c.born += away
	c.guard.inherit(&old.guard)
	c.guard.changed += away
}

// Is says whether the channel has these settings, in everything.
func (c *Channel) Is(in config.Instrument) bool { return reflect.DeepEqual(c.in, in) }

// Date tells the channel what day it is, for the drift since a calibration.
func (c *Channel) Date(wall time.Time) { c.convert.date = wall }

// Take takes a reading, clean or faulty, and gives the fault that it or the
// wire found, "" for none. cold tells how another instrument stands, for a cold
// junction; it may be nil where none is configured so.
func (c *Channel) Take(r daq.Reading, cold func(quantity.ID) (Measured, bool)) daq.Reason {
	if r.Reason != "" {
		return c.fail(r.Reason, r.Error)
	}
	if since, frozen := c.guard.frozen(r); frozen {
		c.lastAt = min(c.lastAt, since)
		return c.fail(daq.ReasonFrozen, fmt.Sprintf("the number on the wire has been %v for %s; check the sensor", r.Number, daq.Seconds(r.At-since)))
	}
	m, ok, f := c.convert.number(r, cold)
	if f == nil && ok {
		f = c.guard.step(m.Value)
	}
	switch {
	case f != nil:
		if f.misread {
			c.probation = probationReadings
		}
		return c.fail(f.reason, f.text)
	case ok && c.probation > 1:
		c.probation--
		return c.reason
	case ok:
		c.probation = 0
		c.motion.add(r.At, &m, c.convert.halfWidth(m.Value))
		c.last, c.lastAt, c.seen, c.fault, c.reason = m, r.At, true, "", ""
	}
	return ""
}

func (c *Channel) fail(reason daq.Reason, text string) daq.Reason {
	c.fault, c.reason = cmp.Or(text, string(reason)), reason
	return reason
}

// Fault is what is wrong with the newest reading, in a sentence; "" when
// nothing is.
func (c *Channel) Fault() string { return c.fault }

// At is the quantity as it stands at a monotonic time. After a fault the last
// good value stands as uncertain until it is older than stale_after; then it
// is bad and has no value. Before the first value it is missing for as long.
func (c *Channel) At(now time.Duration) Measured {
	if !c.asked {
		c.asked, c.born = true, now
	}
	switch age := now - c.lastAt; {
	case !c.seen && now-c.born <= c.in.StaleAfter:
		return none(daq.Quality{Grade: daq.Missing, Why: c.fault}, cmp.Or(c.reason, daq.ReasonStale))
	case !c.seen:
		why := cmp.Or(c.fault, "no reading for "+daq.Seconds(now-c.born)+": nothing came")
		return none(daq.Quality{Grade: daq.Bad, Why: why}, cmp.Or(c.reason, daq.ReasonStale))
	case age > c.in.StaleAfter:
		return none(daq.Quality{Grade: daq.Bad, Why: "no good reading for " + daq.Seconds(age) + ": " + cmp.Or(c.fault, "nothing came")}, cmp.Or(c.reason, daq.ReasonStale))
	case c.fault != "":
		m := c.last
		m.Quality, m.Reason = daq.Quality{Grade: daq.Uncertain, Why: c.fault + "; the last good value stands"}, c.reason
		return m
	}
	return c.last
}

func none(q daq.Quality, reason daq.Reason) Measured {
	return Measured{Value: math.NaN(), DominantU: math.NaN(), Quality: q, Reason: reason}
}

// fault is why a number cannot be believed.
type fault struct {
	reason  daq.Reason
	text    string
	misread bool // no sensor sends that: words or bytes may stand in a wrong order
}

func faultf(reason daq.Reason, format string, args ...any) *fault {
	return &fault{reason: reason, text: fmt.Sprintf(format, args...)}
}

// doubt lowers a value to uncertain; a second doubt is added to the first.
func (m *Measured) doubt(reason daq.Reason, format string, args ...any) {
	why := fmt.Sprintf(format, args...)
	if m.Quality.Grade == daq.Uncertain {
		why = m.Quality.Why + "; " + why
	} else {
		m.Reason = reason
	}
	m.Quality = daq.Quality{Grade: daq.Uncertain, Why: why}
}

// widen adds an independent standard uncertainty. The largest part keeps its
// shape; the others together are taken as normal: two rectangular parts of equal
// size leave the probability of a band wrong by up to 0.011 (against a Monte
// Carlo of 400,000 draws).
func (m *Measured) widen(u float64, shape uncertainty.Shape) {
	switch {
	case u == 0:
	case m.DominantU == 0 || math.IsNaN(u):
		m.DominantU, m.Shape = u, shape
	case u > m.DominantU:
		m.OtherU = math.Hypot(m.OtherU, m.DominantU)
		m.DominantU, m.Shape = u, shape
	default:
		m.OtherU = math.Hypot(m.OtherU, u)
	}
}

// StandardU is the combined standard uncertainty.
func (m *Measured) StandardU() float64 { return math.Hypot(m.DominantU, m.OtherU) }
