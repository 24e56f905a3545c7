package config

import (
	"cmp"
	"slices"
)

// The most that one answer holds ("MODBUS Application Protocol" V1.1b3, 6.1 to 6.4).
const (
	mostBits      = 2000
	mostRegisters = 125
)

// Polls groups instruments into the fewest exchanges that read them all: neighbouring
// registers of one address and table, read at one pace, share one. Text questions keep
// their order, before the registers; what is not asked has none.
func Polls(instruments []Instrument) [][]Instrument {
	var polls [][]Instrument
	for _, in := range byRegister(instruments) {
		if last := len(polls) - 1; last >= 0 && joins(polls[last], in) {
			polls[last] = append(polls[last], in)
			continue
		}
		polls = append(polls, []Instrument{in})
	}
	return polls
}

func byRegister(instruments []Instrument) []Instrument {
	asked := func(in Instrument) bool { return in.Modbus == nil && in.Query == nil }
	list := slices.DeleteFunc(slices.Clone(instruments), asked)
	slices.SortStableFunc(list, func(a, b Instrument) int {
		switch {
		case a.Modbus == nil && b.Modbus == nil:
			return 0
		case a.Modbus == nil:
			return -1
		case b.Modbus == nil:
			return 1
		}
		return cmp.Or(cmp.Compare(a.Modbus.Address, b.Modbus.Address), cmp.Compare(a.Modbus.Table, b.Modbus.Table),
			cmp.Compare(a.Every, b.Every), cmp.Compare(a.Modbus.Register, b.Modbus.Register))
	})
	return list
}

// joins says whether an instrument's registers begin where those of a poll end, and
// still fit into one answer.
func joins(poll []Instrument, in Instrument) bool {
	first, last, m := poll[0].Modbus, poll[len(poll)-1].Modbus, in.Modbus
	if first == nil || m == nil || poll[0].Every != in.Every || first.Address != m.Address || first.Table != m.Table {
		return false
	}
	most := mostRegisters
	if m.Table.Bits() {
		most = mostBits
	}
	return int(m.Register) == int(last.Register)+last.Width() && int(m.Register)+m.Width()-int(first.Register) <= most
}

// Width is how many places of its table a number takes: registers, or one bit.
func (m *Modbus) Width() int {
	if m.Table.Bits() {
		return 1
	}
	return m.Type.Words()
}
