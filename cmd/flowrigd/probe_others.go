package main

import (
	"context"
	"fmt"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/channel"
	"flowrigd/daq/instrument"
)

// other is another reading of an exchange in --json.
type other struct {
	Table      string   `json:"table"`
	Register   uint16   `json:"register"`
	Words      string   `json:"words"`
	Bytes      string   `json:"bytes"`
	Same       bool     `json:"same_bytes"`
	Number     *float64 `json:"number"`
	Value      *float64 `json:"value"`
	Believable bool     `json:"believable"`
	Error      *string  `json:"error"`

	from config.Modbus
}

// The words of the configuration.
var (
	tableWords = map[config.Table]string{config.InputTable: "input", config.HoldingTable: "holding", config.DiscreteTable: "discrete", config.CoilTable: "coil"}
	orderWords = map[bool]string{false: "big", true: "little"}
	byteWords  = map[bool]string{false: "normal", true: "swapped"}
)

// others looks at what else the bytes of an exchange may mean, and at what
// stands beside them.
func (p *probing) others(ctx context.Context, prober *instrument.Prober, x instrument.Exchange) (list []other) {
	if p.in.Pulses != nil || p.foreignJunction() != "" {
		return nil // one count, or one voltage, says nothing
	}
	for _, o := range prober.Around(ctx, x) {
		in := p.in
		in.Modbus = &o.Modbus
		m, fault := valueOf(in, o.Reading)
		entry := other{
			Table: tableWords[o.Modbus.Table], Register: o.Modbus.Register, Words: orderWords[o.Modbus.WordsLittle],
			Bytes: byteWords[o.Modbus.BytesSwapped], Same: o.Same, Value: finite(m.Value), from: o.Modbus,
		}
		if o.Err == nil {
			entry.Number = finite(o.Reading.Number)
		}
		if fault != "" {
			entry.Error, entry.Value = &fault, nil
		}
		entry.Believable = entry.Value != nil && !belowRange(in, o.Reading.Number, m.Value)
		list = append(list, entry)
	}
	return list
}

// valueOf is what one reading by itself is worth, and its fault.
func valueOf(in config.Instrument, r daq.Reading) (channel.Measured, string) {
	c := channel.New(in)
	c.Take(r, nil)
	m := c.At(r.At)
	return m, c.Fault()
}

// belowRange reports a flow that the meter cannot measure and that is not none:
// the 0 of a shut valve is believable.
func belowRange(in config.Instrument, number, value float64) bool {
	flow := in.ID == quantity.Flow || in.ID == quantity.SupplyFlow
	return flow && in.Range != nil && in.Range.Low > 0 && value < in.Range.Low && number != 0
}

// printOthers shows other readings to a person: all of them beside a value that
// is not believable, of a 0 those alone that say more.
func (p *probing) printOthers(e exchange) {
	for _, o := range e.Others {
		zero := o.Number != nil && *o.Number == 0
		if e.Error == nil && !e.doubtful && (!o.Believable || zero) {
			continue
		}
		said := "nothing"
		switch {
		case o.Error != nil:
			said = short(*o.Error)
		case o.Value != nil && o.Believable:
			said = p.value(*o.Value) + ", believable"
		case o.Value != nil:
			said = p.value(*o.Value) + ", below the meter's range"
		}
		p.row("or", p.where(o)+": "+said)
	}
}

// short is a fault without its place, which stands before it, and its remedy.
func short(fault string) string {
	said, _, _ := strings.Cut(forPeople(fault), ";")
	return strings.TrimSpace(said[strings.LastIndex(said, ": ")+1:])
}

// where says what to write for another reading, in the words of the
// configuration.
func (p *probing) where(o other) string {
	if !o.Same {
		return fmt.Sprintf("table = %q, register = %d", o.Table, o.Register)
	}
	var parts []string
	if o.from.WordsLittle != p.in.Modbus.WordsLittle {
		parts = append(parts, fmt.Sprintf("words = %q", o.Words))
	}
	if o.from.BytesSwapped != p.in.Modbus.BytesSwapped {
		parts = append(parts, fmt.Sprintf("bytes = %q", o.Bytes))
	}
	return "the same bytes, " + strings.Join(parts, ", ")
}
