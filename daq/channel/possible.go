package channel

import (
	"fmt"
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// leastNumber is the smallest number but 0 that an instrument sends, in
// whatever unit: 1e-12 m³/s are 0.06 µL/min, and 1e-12 V is far below the noise
// of a thermocouple. Of a float in registers, where a wrong order of words makes
// small numbers, it is leastPart of what the instrument measures at most: the
// noise of a meter at rest is a thousand times that.
const (
	leastNumber = 1e-12
	leastPart   = 1e-6
)

// The temperatures at which the formulas for liquid water hold (IAPWS SR6-08).
const coldestWater, hottestWater = -20.0, 110.0

const absoluteZero = -273.15 // Cel

// What no bench has, for an instrument without a range: common practice, no
// source. The length is the longest that a configuration may have.
const (
	largestFlow     = 1.0   // m³/s
	largestLength   = 100.0 // m
	largestPressure = 1e8   // Pa
)

// The light through the tube is 0 to 1 of that without one; an amplifier's zero and its
// gain may be off by a tenth (common practice, no source).
const darkest, brightest = -0.1, 1.1

// zeroDrift is how far below 0 a flow meter may stand while nothing flows,
// where its maker states less or nothing: this part of its range's end (common
// practice, no source).
const zeroDrift = 0.005

// sent refuses a number that no sensor sends. 0 is believed: a shut valve makes
// it.
func (v *convert) sent(number float64) *fault {
	switch {
	case math.IsNaN(number) || math.IsInf(number, 0):
		return faultf(daq.ReasonOpen, "the instrument sends %v in place of a number; its sensor is open or has failed", number)
	case number != 0 && math.Abs(number) < v.least():
		return v.misread(faultf(daq.ReasonRange, "%.3g is no number that a sensor sends; check %s", number, v.look()))
	}
	return nil
}

// least is the smallest number but 0 to believe.
func (v *convert) least() float64 {
	m, most := v.in.Modbus, 0.0
	if v.in.Range != nil {
		most = max(math.Abs(v.in.Range.Low), math.Abs(v.in.Range.High))
	}
	if m == nil || m.Type != config.Float32 && m.Type != config.Float64 || v.in.Unit == nil || v.in.Unit.Factor <= 0 || v.couple != nil {
		return leastNumber
	}
	return max(leastNumber, leastPart*most/v.in.Unit.Factor)
}

// misread marks a fault that a wrong order of words or bytes makes, of a number
// that has such an order.
func (v *convert) misread(f *fault) *fault {
	f.misread = v.in.Modbus != nil && v.in.Modbus.Type.Words() > 1
	return f
}

// look is what to look at when a number cannot be right.
func (v *convert) look() string {
	switch m := v.in.Modbus; {
	case m == nil:
		return "the pattern, unit and scale"
	case m.Type.Words() > 1:
		return "words (the word order), bytes, type and register; `flowrigd probe` shows what else the bytes can mean"
	case m.Type == config.Bit:
		return "table and register"
	}
	return "type and register, unit and scale; `flowrigd probe` shows what stands beside it"
}

// inRange holds the sensor's range, its ends included. Water that stands still
// is below every flow meter's range: that is no fault, but no measurement.
func (v *convert) inRange(m *Measured) *fault {
	r := v.in.Range
	switch {
	case v.backwards(m.Value):
		return v.misread(faultf(daq.ReasonRange, "%s is a flow below zero, which this meter cannot tell; check its direction and its zero, and %s", v.format(m.Value), v.look()))
	case r == nil:
		return v.possible(m.Value)
	case v.loop != 0 && r.Low == min(v.in.Scale.To[0], v.in.Scale.To[1]) && r.High == max(v.in.Scale.To[0], v.in.Scale.To[1]):
		return nil // the range is the whole current loop: NE 43 decides
	}
	slack := 1e-9 * (r.High - r.Low)
	inside := m.Value >= r.Low-slack && m.Value <= r.High+slack
	switch {
	case inside:
		return nil
	case v.isFlow() && r.Low >= 0 && m.Value < r.Low:
		m.doubt(daq.ReasonRange, "below the meter's range, which begins at %s", v.format(r.Low))
		return nil
	}
	ends := fmt.Sprintf("outside the sensor's range of %s to %s", v.format(r.Low), v.format(r.High))
	if math.Abs(m.Value) > 10*max(math.Abs(r.Low), math.Abs(r.High)) {
		return v.misread(faultf(daq.ReasonRange, "%s is far %s; check %s", v.format(m.Value), ends, v.look()))
	}
	return faultf(daq.ReasonRange, "%s is %s", v.format(m.Value), ends)
}

// backwards reports a flow below zero by more than its zero may be off, of a
// meter whose range does not begin below zero. A current loop has its own
// measure of that.
func (v *convert) backwards(value float64) bool {
	r := v.in.Range
	if !v.isFlow() || v.loop != 0 || value >= 0 || r != nil && r.Low < 0 {
		return false
	}
	zero := 0.0
	if half := v.halfWidth(0); half > 0 {
		zero = half
	}
	if r != nil {
		zero = max(zero, zeroDrift*r.High)
	}
	return value < -zero
}

// possible holds what has no range to what can be: a failed transmitter, or a
// wrong order of words, makes a number that no water has.
func (v *convert) possible(value float64) *fault {
	switch v.in.ID {
	case quantity.Temperature, quantity.HeaterOutlet, quantity.Tank:
		if value < coldestWater || value > hottestWater {
			return v.misread(faultf(daq.ReasonRange, "%s is no temperature of liquid water; check the sensor, unit and scale, and %s", v.format(value), v.look()))
		}
		return nil
	case quantity.DyeLight:
		if value < darkest || value > brightest {
			return v.misread(faultf(daq.ReasonRange, "%s is no part of the light; check unit and scale, and %s", v.format(value), v.look()))
		}
		return nil
	case quantity.Ambient:
		if value < absoluteZero {
			return faultf(daq.ReasonRange, "%s is below absolute zero; check the sensor, unit and scale", v.format(value))
		}
	}
	largest := map[config.Dimension]float64{
		config.Temperature: 1000, config.VolumeFlow: largestFlow, config.Length: largestLength, config.Pressure: largestPressure,
	}
	if most, bounded := largest[config.DimensionOf(v.in.ID)]; !bounded || math.Abs(value) <= most {
		return nil
	}
	return v.misread(faultf(daq.ReasonRange, "%s is more than any bench has; check %s", v.format(value), v.look()))
}

func (v *convert) isFlow() bool {
	return v.in.ID == quantity.Flow || v.in.ID == quantity.SupplyFlow
}
