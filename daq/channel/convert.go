package channel

import (
	"fmt"
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq"
)

// convert turns the number on the wire into the quantity.
type convert struct {
	in     config.Instrument
	pulses *pulses
	couple *couple
	loop   float64   // number of one milliampere on the wire; 0: no current loop
	date   time.Time // of the reading, for the drift since a calibration
}

func newConvert(in config.Instrument) convert {
	v := convert{in: in}
	if in.Pulses != nil {
		v.pulses = newPulses(*in.Pulses, in.StaleAfter)
	}
	if in.Thermocouple != nil {
		v.couple = newCouple(*in.Thermocouple)
	}
	if in.Scale != nil {
		v.loop = milliampere(in.Scale.From)
	}
	return v
}

// milliampere is the number on the wire of one milliampere, where a scale runs
// from 4 to 20 mA in whatever power of ten (4 and 20, 4000 and 20000), from
// either end; else 0.
func milliampere(from [2]float64) float64 {
	low, high := min(from[0], from[1]), max(from[0], from[1])
	power := math.Log10(low / 4)
	if low <= 0 || math.Abs(high/low-5) > 1e-9 || math.Abs(power-math.Round(power)) > 1e-9 {
		return 0
	}
	return low / 4
}

// number gives the quantity of a clean reading. ok is false while a counter
// has not been read often enough to tell a rate.
func (v *convert) number(r daq.Reading, cold func(quantity.ID) (Measured, bool)) (m Measured, ok bool, f *fault) {
	if f = v.sent(r.Number); f != nil {
		return m, false, f
	}
	m.Quality = daq.Quality{Grade: daq.Good}
	ok, f = v.wire(r, &m)
	if !ok || f != nil {
		return m, false, f
	}
	if v.couple != nil {
		if f = v.couple.temperature(&m, cold); f != nil {
			return m, false, f
		}
	}
	if f = v.inRange(&m); f != nil {
		return m, false, f
	}
	v.accuracy(&m)
	v.correct(&m)
	return m, true, nil
}

func (v *convert) wire(r daq.Reading, m *Measured) (ok bool, f *fault) {
	in := &v.in
	switch {
	case v.pulses != nil:
		return v.pulses.rate(r, m)
	case in.Scale != nil:
		if v.loop != 0 {
			if f = v.namur(r.Number, m); f != nil {
				return false, f
			}
		}
		s := in.Scale
		m.Value = s.To[0] + (r.Number-s.From[0])/(s.From[1]-s.From[0])*(s.To[1]-s.To[0])
	case in.Unit != nil:
		m.Value = r.Number*in.Unit.Factor + in.Unit.Offset
	default:
		m.Value = r.Number
	}
	if quantity.Table[in.ID].Kind == quantity.Boolean && m.Value != 0 {
		m.Value = 1
	}
	return true, nil
}

// namur reads a 4–20 mA signal as NAMUR NE 43 has it: 3.8 to 20.5 mA is
// measurement, 3.6 mA and less or 21 mA and more a failed sensor (figures from
// memory of the recommendation). A number that no transmitter drives is no
// current at all.
func (v *convert) namur(number float64, m *Measured) *fault {
	switch milliamperes := number / v.loop; {
	case milliamperes < -1 || milliamperes > mostMilliamperes:
		return faultf(daq.ReasonRange, "%v on the wire is no current of a loop whose scale is %v to %v; write in scale.from the numbers that the instrument sends at 4 mA and at 20 mA%s", number, v.in.Scale.From[0], v.in.Scale.From[1], v.otherScale(number))
	case milliamperes <= 3.6:
		other := v.otherScale(number)
		if other != "" {
			other = fmt.Sprintf("; or it sends %v at another scale: check scale.from%s", number, other)
		}
		return faultf(daq.ReasonOpen, "the loop carries %.2f mA: the sensor has failed or the loop is open%s", milliamperes, other)
	case milliamperes >= 21:
		return faultf(daq.ReasonOpen, "the loop carries %.2f mA: the sensor has failed or is shorted", milliamperes)
	case milliamperes < 3.8 || milliamperes > 20.5:
		m.doubt(daq.ReasonRange, "the loop carries %.2f mA, outside the measuring span of 3.8 to 20.5 mA", milliamperes)
	}
	return nil
}

// mostMilliamperes is more than a two-wire transmitter draws when it fails or
// is shorted with its usual load (common practice, no source).
const mostMilliamperes = 100

// otherScale names the power of ten with which a number is a loop's current.
func (v *convert) otherScale(number float64) string {
	for _, low := range []float64{0.004, 0.04, 0.4, 4, 40, 400, 4000, 40000} {
		if ma := 4 * number / low; low != v.loop*4 && ma >= 3.8 && ma <= 20.5 {
			return fmt.Sprintf(", such as [%v, %v]", low, 5*low)
		}
	}
	return ""
}

// accuracy adds the maker's limits of error, rectangular (JCGM 100:2008,
// 4.3.7), or what a certificate states: its standard uncertainty, and the drift
// since its date as limits.
func (v *convert) accuracy(m *Measured) {
	u, limits := v.stated(m.Value)
	m.widen(u, uncertainty.Normal)
	m.widen(limits/math.Sqrt(3), uncertainty.Rectangular)
}

// stated is what accuracy or calibration say at a value: a standard uncertainty
// and limits of error; the limits are NaN when neither is stated.
func (v *convert) stated(value float64) (u, limits float64) {
	if a := v.in.Accuracy; a != nil {
		return 0, a.OfReading*math.Abs(value) + a.OfSpan*v.span() + a.Fixed
	}
	c := v.in.Calibration
	if c == nil {
		return 0, math.NaN()
	}
	age := max(0, v.date.Sub(c.Date).Seconds()) // a clock that has lost its date drifts nothing
	return c.Fixed + c.OfReading*math.Abs(value), age * (c.DriftFixed + c.DriftOfReading*math.Abs(value))
}

// halfWidth is the limit of error at a value, of a certificate that of a rectangle
// with its standard uncertainty; NaN when nothing is stated.
func (v *convert) halfWidth(value float64) float64 {
	u, limits := v.stated(value)
	return math.Hypot(math.Sqrt(3)*u, limits)
}

// span is the width of the range, or of the scale where no range is stated; 0
// when neither is.
func (v *convert) span() float64 {
	switch {
	case v.in.Range != nil:
		return v.in.Range.High - v.in.Range.Low
	case v.in.Scale != nil && v.couple == nil:
		return math.Abs(v.in.Scale.To[1] - v.in.Scale.To[0])
	}
	return 0
}

func (v *convert) format(value float64) string {
	return config.Format(value, config.DimensionOf(v.in.ID))
}

// correct applies the correction: straight lines between its points, with the
// larger uncertainty of the two, for one error may be common to them. Beyond its
// ends the end's correction is kept and the value is doubtful.
func (v *convert) correct(m *Measured) {
	points := v.in.Correct
	if len(points) == 0 {
		return
	}
	x := m.Value
	first, last := points[0], points[len(points)-1]
	slack := 1e-9 * (last.Indicated - first.Indicated)
	switch {
	case x < first.Indicated:
		m.Value += first.True - first.Indicated
		m.widen(first.U, uncertainty.Normal)
	case x >= last.Indicated:
		m.Value += last.True - last.Indicated
		m.widen(last.U, uncertainty.Normal)
	default:
		i := slices.IndexFunc(points, func(p config.CorrectPoint) bool { return p.Indicated > x })
		a, b := points[i-1], points[i]
		part := (x - a.Indicated) / (b.Indicated - a.Indicated)
		m.Value = a.True + part*(b.True-a.True)
		m.widen(max(a.U, b.U), uncertainty.Normal)
	}
	if x < first.Indicated-slack || x > last.Indicated+slack {
		m.doubt(daq.ReasonRange, "%s is outside the calibrated range of %s to %s", v.format(x), v.format(first.Indicated), v.format(last.Indicated))
	}
}
