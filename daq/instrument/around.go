package instrument

import (
	"context"
	"errors"

	"flowrigd/config"
	"flowrigd/daq"
)

// Other is another reading of an instrument: the bytes that it sent in another
// order, or what stands beside them in the slave.
type Other struct {
	Modbus  config.Modbus // where and how it was read
	Same    bool          // the same bytes: only their order differs
	Reading daq.Reading   // its At is that of the exchange
	Err     error         // nil when there is a number
}

// Around gives the other readings of an exchange: its bytes in every other order
// of words and bytes, and the numbers in the table beside it and one register up
// and down, where the slave answers at all. It only reads. Of an instrument that
// speaks no Modbus there are none.
func (p *Prober) Around(ctx context.Context, x Exchange) []Other {
	m := p.in.Modbus
	if m == nil || silent(x.Err) || x.Data == nil && !refusal(x.Err) {
		return nil
	}
	var list []Other
	if x.Data != nil {
		for _, o := range orders(m) {
			r := result{}
			r.number, r.count, r.err = decode(&o, x.Data, o.Register)
			list = append(list, p.other(o, r, x, true))
		}
	}
	for _, o := range beside(m) {
		_, r := p.read(ctx, &o)
		if silent(r.err) || ctx.Err() != nil {
			break
		}
		list = append(list, p.other(o, r, x, false))
	}
	return list
}

func (p *Prober) other(m config.Modbus, r result, x Exchange, same bool) Other {
	return Other{Modbus: m, Same: same, Err: r.err, Reading: reading(&p.in, r, 0, x.Reading.At)}
}

// refusal says whether a slave has answered with an exception.
func refusal(err error) bool {
	var f *fault
	return errors.As(err, &f) && f.reason == daq.ReasonException
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
			if table == m.Table && step == 0 || register < 0 || register+width(m) > 65536 {
				continue
			}
			o := *m
			o.Table, o.Register = table, uint16(register)
			list = append(list, o)
		}
	}
	return list
}
