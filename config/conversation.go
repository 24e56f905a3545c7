package config

import (
	"fmt"
	"strconv"

	"github.com/pelletier/go-toml/v2/unstable"
)

// conversation reads how to get the number: one of modbus, query and stream.
func (s *section) conversation(in *Instrument) {
	switch s.exactlyOne("the conversation", "modbus", "query", "stream") {
	case "modbus":
		in.Modbus = below(s, "modbus", (*section).modbus)
	case "query":
		in.Query = below(s, "query", (*section).query)
	case "stream":
		in.Stream = below(s, "stream", func(t *section) *Stream { return &Stream{Line: t.pattern("line", "F={value}"), End: t.end()} })
	}
	if n := s.node.child("checksum"); n != nil && in.Modbus != nil {
		s.bad("checksum", n, "Modbus has its own", "leave checksum out")
	}
}

var checksumWords = []string{"none", "xor", "sum", "crc16"} // in the order of the constants

func (s *section) query() *Query {
	send, n := s.requiredText("send", `T?\r`, `write what the instrument is asked, such as send = "T?\r"`)
	if n != nil && send == "" {
		s.bad("send", n, "nothing to send", `write what the instrument is asked, such as "T?\r", or use stream`)
	}
	return &Query{Send: []byte(send), Reply: s.pattern("reply", "T={value}"), End: s.end()}
}

// pattern reads how a line looks and which decimal mark its number has, and
// warns of one that is not held at its ends.
func (s *section) pattern(key, example string) Pattern {
	text, n := s.requiredText(key, example, fmt.Sprintf("write the line with {value} in place of its number, such as %s = %q", key, example))
	comma := s.choice("decimal", ".", ",") == ","
	if n == nil {
		return Pattern{}
	}
	p, err := ParsePattern(text)
	p.comma = comma
	if err != nil {
		m := err.(*Mistake)
		s.bad(key, n, m.Wrong, m.Remedy)
		return Pattern{}
	}
	if !p.anchored {
		s.report.warn(n.value, s.path(key)+": the expression may find its number in the middle of a broken line", "begin it with ^ and end it with $")
	}
	return p
}

func (s *section) end() []byte {
	text, n := s.text("end", `\r\n`)
	switch {
	case n == nil:
		return []byte("\r\n")
	case text == "" || len(text) > 8:
		s.bad("end", n, quoted(text)+" cannot end a line", `write the bytes that end each line, such as "\r\n"`)
	}
	return []byte(text)
}

func (s *section) modbus() *Modbus {
	s.require("address", "write the slave's address, such as address = 1")
	m := &Modbus{Address: byte(s.integer("address", 1, 1, 247))}
	s.register(m)
	m.Type = s.numberType(m.Table)
	m.WordsLittle = s.choice("words", "big", "little") == "little"
	m.BytesSwapped = s.choice("bytes", "normal", "swapped") == "swapped"
	if last := int(m.Register) + m.Type.Words() - 1; last > 65535 {
		s.report.add(s.place("register"), fmt.Sprintf("%s: the number ends at register %d", s.name, last), "write a register of up to 65535 for its last word")
	}
	return m
}

// register reads table and register, or the manual's reference number.
func (s *section) register(m *Modbus) {
	if n := s.take("reference"); n != nil {
		s.reference(n, m)
		for _, key := range []string{"table", "register"} {
			if other := s.take(key); other != nil {
				s.refuse(other, s.path(key)+" stands beside reference, which says it already", "write only one of them")
			}
		}
		return
	}
	m.Table = chosen[Table](s, "table", tableWords())
	s.require("register", "write the zero-based register, such as register = 0, or reference = 30001")
	m.Register = uint16(s.integer("register", 0, 0, 65535))
	s.refuseReference(m.Register)
}

// refuseReference refuses a register that looks like the number of a manual,
// 3xxxx or 4xxxx: such a register of the protocol is rare, and has a reference
// number of 6 digits of its own.
func (s *section) refuseReference(register uint16) {
	n := s.node.child("register")
	first, number := register/10000, register%10000
	if n == nil || first != 3 && first != 4 || number == 0 {
		return
	}
	table := map[uint16]Table{3: InputTable, 4: HoldingTable}[first]
	remedy := fmt.Sprintf("write reference = %d in place of table and register (%s register %d)", register, table, number-1)
	if m := s.choice("table", tableWords()...); m == "input" || m == "holding" {
		remedy += fmt.Sprintf("; where the protocol's register is meant, write reference = %d", map[string]int{"input": 300001, "holding": 400001}[m]+int(register))
	}
	s.bad("register", n, fmt.Sprintf("%d looks like the number in the maker's manual, which counts from %d0001", register, first), remedy)
}

// reference reads a number of the maker's manual with 5 or 6 digits, counted
// from 1: 4xxxx holding, 3xxxx input, 1xxxx discrete, 0xxxx coil (common
// practice, no source; the protocol itself knows only tables and addresses).
// TOML has no leading zeros, so a coil's number is text.
func (s *section) reference(n *node, m *Modbus) {
	const remedy = `write 5 or 6 digits, such as 30001 (input 0), 40017 (holding 16), 10001 (discrete 0) or "00001" (coil 0)`
	text := n.text
	digits := n.kind == unstable.Integer || n.kind == unstable.String
	if _, err := strconv.ParseUint(text, 10, 32); !digits || err != nil || len(text) != 5 && len(text) != 6 {
		s.bad("reference", n, kindName(n)+" is not a reference number", remedy)
		return
	}
	tables := map[byte]Table{'0': CoilTable, '1': DiscreteTable, '3': InputTable, '4': HoldingTable}
	table, ok := tables[text[0]]
	number, _ := strconv.ParseUint(text[1:], 10, 32)
	if !ok || number < 1 || number > 65536 {
		s.bad("reference", n, text+" names no register", remedy)
		return
	}
	m.Table, m.Register = table, uint16(number-1)
}

var numberTypes = []string{"uint16", "int16", "uint32", "int32", "float32", "uint64", "float64"}

// numberType reads the type; a coil or a discrete input has none.
func (s *section) numberType(t Table) NumberType {
	number := chosen[NumberType](s, "type", numberTypes)
	if t.Bits() {
		if n := s.node.child("type"); n != nil {
			s.bad("type", n, "a coil or a discrete input is one bit", "leave type out")
		}
		return Bit
	}
	return number
}
