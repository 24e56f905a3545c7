package instrument

import (
	"fmt"
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
)

// judge says what an exchange was worth.
func (p *Probing) judge(x *exchange) {
	x.Unit, x.Seconds, x.Others = quantity.Table[p.Instrument.ID].Unit, x.reading.Took.Seconds(), []alternative{}
	if x.err == nil {
		x.Number = finite(x.reading.Number)
		if why := foreignJunction(p.Instrument); why != "" {
			x.Note, x.Quality = &why, "no value: "+why
			return
		}
	} else {
		x.reading.Error = swapped(p.port, ofOtherLines(p.Config.Instruments, p.port.Name), x.err, x.Received).Error()
	}
	p.channel.Take(x.reading, nil)
	m := p.channel.At(x.reading.At)
	if fault := p.channel.Fault(); fault != "" {
		x.Error, x.Quality = &fault, "bad: "+fault
		return
	}
	x.Quality, x.Value = m.Quality.String(), finite(m.Value)
	switch {
	case x.Value == nil:
		why := "a rate needs two counts: ask for more with --count 3"
		x.Note, x.Quality = &why, "no value: "+why
	case belowRange(p.Instrument, x.reading.Number, m.Value):
		x.doubtful = true
	}
}

// alone is what one reading is worth by itself: a value, a fault, or neither.
func alone(in config.Instrument, r daq.Reading) (value *float64, fault *string) {
	c := channel.New(in)
	c.Take(r, nil)
	if said := c.Fault(); said != "" {
		return nil, &said
	}
	return finite(c.At(r.At).Value), nil
}

// belowRange reports a flow that the meter cannot measure and that is not none:
// the 0 of a shut valve is believable.
func belowRange(in config.Instrument, number, value float64) bool {
	flow := in.ID == quantity.Flow || in.ID == quantity.SupplyFlow
	return flow && in.Range != nil && in.Range.Low > 0 && value < in.Range.Low && number != 0
}

// foreignJunction says that the cold junction is another instrument's matter.
func foreignJunction(in config.Instrument) string {
	t := in.Thermocouple
	if t == nil || t.ColdJunction != nil {
		return ""
	}
	cold := t.From.Short()
	return fmt.Sprintf("its cold junction is measured by %s, which this probe does not ask; run computes the temperature from both, probe %s as well", cold, cold)
}

// finite is nil for what is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
