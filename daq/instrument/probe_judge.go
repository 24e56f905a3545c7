package instrument

import (
	"context"
	"fmt"
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
)

// alternative is another reading of an exchange: its bytes in another order, or what
// stands beside them in the slave.
type alternative struct {
	Table      string   `json:"table"`
	Register   uint16   `json:"register"`
	Words      string   `json:"words"`
	Bytes      string   `json:"bytes"`
	Same       bool     `json:"same_bytes"` // only their order differs
	Number     *float64 `json:"number"`
	Value      *float64 `json:"value"`
	Believable bool     `json:"believable"`
	Error      *string  `json:"error"`

	from config.Modbus // where and how it was read
}

// alternatives gives the other readings of an exchange: its bytes in every other order
// of words and bytes, and the numbers in the table beside it and one register up
// and down, where the slave answers at all. It only reads. Of an instrument that
// speaks no Modbus, or whose number says nothing by itself, there are none.
func (p *prober) alternatives(ctx context.Context, x exchange) (list []alternative) {
	m := p.in.Modbus
	if m == nil || p.in.Pulses != nil || foreignJunction(p.in) != "" || silent(x.err) || !answers(x) {
		return nil
	}
	if x.data != nil {
		for _, o := range orders(m) {
			r := result{}
			r.number, r.count, r.err = decode(&o, x.data, o.Register)
			list = append(list, p.alternative(o, r, x, true))
		}
	}
	for _, o := range beside(m) {
		_, r := p.read(ctx, &o)
		if silent(r.err) || ctx.Err() != nil {
			break
		}
		list = append(list, p.alternative(o, r, x, false))
	}
	return list
}

// alternative judges another reading by itself, with the time of its exchange.
func (p *prober) alternative(m config.Modbus, r result, x exchange, same bool) alternative {
	in := p.in
	in.Modbus = &m
	got := reading(&in, r, 0, x.reading.At)
	o := alternative{Table: m.Table.String(), Register: m.Register, Words: "big", Bytes: "normal", Same: same, from: m}
	if m.WordsLittle {
		o.Words = "little"
	}
	if m.BytesSwapped {
		o.Bytes = "swapped"
	}
	if r.err == nil {
		o.Number = finite(got.Number)
	}
	o.Value, o.Error = alone(in, got)
	o.Believable = o.Value != nil && !belowRange(in, got.Number, *o.Value)
	return o
}

// orders are the other orders of words and bytes that a number can have.
func orders(m *config.Modbus) (list []config.Modbus) {
	if m.Type == config.Bit {
		return nil
	}
	for _, little := range []bool{false, true} {
		for _, swapped := range []bool{false, true} {
			o := *m
			o.WordsLittle, o.BytesSwapped = little, swapped
			if o != *m && (m.Type.Words() > 1 || little == m.WordsLittle) {
				list = append(list, o)
			}
		}
	}
	return list
}

// beside are the places where a number stands that was looked for in the wrong
// table or one register off, as manuals that count from 1 suggest.
func beside(m *config.Modbus) (list []config.Modbus) {
	other := map[config.Table]config.Table{
		config.InputTable: config.HoldingTable, config.HoldingTable: config.InputTable,
		config.DiscreteTable: config.CoilTable, config.CoilTable: config.DiscreteTable,
	}
	for _, table := range []config.Table{m.Table, other[m.Table]} {
		for _, step := range []int{0, -1, 1} {
			register := int(m.Register) + step
			if table == m.Table && step == 0 || register < 0 || register+m.Width() > 65536 {
				continue
			}
			o := *m
			o.Table, o.Register = table, uint16(register)
			list = append(list, o)
		}
	}
	return list
}

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
