package rigsim

import (
	"encoding/binary"
	"slices"

	"flowrigd/daq/modbus"
)

// relayUnit is the Modbus address of the permit relay; its coil is number 0.
const relayUnit = 9

// Exception codes (MODBUS application protocol V1.1b3, section 7).
const (
	illegalFunction = 1
	illegalAddress  = 2
	illegalValue    = 3
)

// requestSize is the size of every request that the slaves know.
const requestSize = 8

// hearBus takes bytes off a Modbus line and gives the answers of the slaves on
// it. Bytes that are no request are passed over one by one, so that noise
// costs no more than the request it hit.
func (s *Sim) hearBus(l *line, p []byte) (answers []answer) {
	s.follow()
	l.heard = append(l.heard, p...)
	for len(l.heard) >= requestSize {
		frame := l.heard[:requestSize]
		req, err := modbus.ParseRequest(frame)
		if err != nil {
			l.heard = l.heard[1:]
			continue
		}
		if reply := s.serve(req, frame); reply != nil {
			answers = append(answers, s.mangle(l, append([]byte(nil), frame...), reply)...)
		}
		l.heard = l.heard[requestSize:]
	}
	l.heard = append([]byte(nil), l.heard...)
	return answers
}

// serve is the answer of the slave that a request is for; nil when there is
// none at that address.
func (s *Sim) serve(req modbus.Request, frame []byte) []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	relay := req.Address == relayUnit && !s.plant.relay.bridged
	switch {
	case !relay && !slices.ContainsFunc(s.sensors, func(in *sensor) bool { return in.line == lineBus && in.unit == req.Address }):
		return nil
	case req.Function == modbus.WriteSingleCoil && relay:
		return s.writeRelay(req, frame)
	case req.Function < modbus.ReadCoils || req.Function > modbus.ReadInputRegisters:
		return refuse(req, illegalFunction)
	case req.Count == 0 || int(req.Count) > most(req.Function):
		return refuse(req, illegalValue)
	}
	table := s.table(req.Address, bank(req.Function), int(req.Start), int(req.Count))
	data, whole := pick(table, req)
	if !whole {
		return refuse(req, illegalAddress)
	}
	return modbus.ReadResponse(req.Address, req.Function, data)
}

func refuse(req modbus.Request, code byte) []byte {
	return modbus.ExceptionResponse(req.Address, req.Function, code)
}

// most is how much one request may read (section 6).
func most(function byte) int {
	if modbus.Bits(function) {
		return modbus.MaxBits
	}
	return modbus.MaxRegisters
}

// writeRelay sets the permit's coil; the answer repeats the request.
func (s *Sim) writeRelay(req modbus.Request, frame []byte) []byte {
	switch {
	case req.Start != 0:
		return refuse(req, illegalAddress)
	case req.Count != 0 && req.Count != 0xFF00:
		return refuse(req, illegalValue)
	}
	s.plant.relay.write(req.Count != 0)
	return append([]byte(nil), frame...)
}

// table reads the registers or bits of a slave that a request touches.
func (s *Sim) table(unit byte, b bank, start, count int) map[int]uint16 {
	table := map[int]uint16{}
	if unit == relayUnit && b == coils && s.plant.relay.energised {
		table[0] = 1
	} else if unit == relayUnit && b == coils {
		table[0] = 0
	}
	for _, in := range s.sensors {
		at := int(in.at)
		if in.line != lineBus || in.unit != unit || in.bank != b || at >= start+count || at+in.size() <= start {
			continue
		}
		for i, w := range in.registers() {
			table[at+i] = w
		}
	}
	return table
}

// size is how many registers or bits the instrument takes.
func (s *sensor) size() int {
	if s.words == nil {
		return 1
	}
	return len(s.words(0))
}

// registers is the instrument's number as it stands in its table now.
func (s *sensor) registers() []uint16 {
	if s.words == nil {
		return []uint16{uint16(s.read())}
	}
	return s.words(s.read())
}

// pick lays out the answer's data; whole is false when the slave lacks part of
// what was asked.
func pick(table map[int]uint16, req modbus.Request) (data []byte, whole bool) {
	bits := modbus.Bits(req.Function)
	if bits {
		data = make([]byte, req.DataSize())
	}
	for i := range int(req.Count) {
		w, ok := table[int(req.Start)+i]
		switch {
		case !ok:
			return nil, false
		case !bits:
			data = binary.BigEndian.AppendUint16(data, w)
		case w != 0:
			data[i/8] |= 1 << (i % 8)
		}
	}
	return data, true
}
