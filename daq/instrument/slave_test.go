package instrument

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/config"
	"flowrigd/daq/modbus"
)

// slaves are Modbus devices of the test's own on one line. fault, when set,
// says what becomes of an answer on the wire; it may return several pieces
// that are written one after another.
type slaves struct {
	mu        sync.Mutex
	registers map[byte]map[uint16]uint16 // by address; both register tables
	bits      map[byte]map[uint16]bool   // both bit tables
	mute      map[byte]bool
	fault     func(request modbus.Request, frame []byte) []byte
	asked     atomic.Int64
	requests  []modbus.Request
}

func newSlaves() *slaves {
	return &slaves{registers: map[byte]map[uint16]uint16{}, bits: map[byte]map[uint16]bool{}, mute: map[byte]bool{}}
}

func (s *slaves) set(address byte, register uint16, words ...uint16) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.registers[address] == nil {
		s.registers[address] = map[uint16]uint16{}
	}
	for i, w := range words {
		s.registers[address][register+uint16(i)] = w
	}
}

func (s *slaves) setFloat(address byte, register uint16, v float32) {
	b := math.Float32bits(v)
	s.set(address, register, uint16(b>>16), uint16(b))
}

func (s *slaves) setMute(address byte, mute bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.mute[address] = mute
}

func (s *slaves) setFault(f func(modbus.Request, []byte) []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fault = f
}

func (s *slaves) coil(address byte, coil uint16) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.bits[address][coil]
}

// serve answers until the line ends.
func (s *slaves) serve(line io.ReadWriter) {
	var buf []byte
	in := make([]byte, 256)
	for {
		n, err := line.Read(in)
		if err != nil {
			return
		}
		buf = append(buf, in[:n]...)
		for len(buf) >= 8 {
			r, err := modbus.ParseRequest(buf[:8])
			if err != nil {
				buf = buf[1:]
				continue
			}
			buf = buf[8:]
			if out := s.answer(r); len(out) > 0 {
				if _, err := line.Write(out); err != nil {
					return
				}
			}
		}
	}
}

func (s *slaves) answer(r modbus.Request) []byte {
	s.asked.Add(1)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.requests = append(s.requests, r)
	if s.mute[r.Address] {
		return nil
	}
	frame := s.frame(r)
	if s.fault != nil {
		return s.fault(r, frame)
	}
	return frame
}

func (s *slaves) frame(r modbus.Request) []byte {
	switch r.Function {
	case modbus.WriteSingleCoil:
		if s.bits[r.Address] == nil {
			s.bits[r.Address] = map[uint16]bool{}
		}
		s.bits[r.Address][r.Start] = r.Count == 0xFF00
		return r.Frame()
	case modbus.ReadCoils, modbus.ReadDiscreteInputs:
		data := make([]byte, r.DataSize())
		for i := range r.Count {
			if s.bits[r.Address][r.Start+i] {
				data[i/8] |= 1 << (i % 8)
			}
		}
		return modbus.ReadResponse(r.Address, r.Function, data)
	}
	have := s.registers[r.Address]
	if have == nil {
		return nil // nobody has this address
	}
	var data []byte
	for i := range r.Count {
		w, ok := have[r.Start+i]
		if !ok {
			return modbus.ExceptionResponse(r.Address, r.Function, 2)
		}
		data = binary.BigEndian.AppendUint16(data, w)
	}
	return modbus.ReadResponse(r.Address, r.Function, data)
}

// talker answers a question of text.
type talker struct {
	send   []byte
	answer []byte
}

func (a *talker) serve(line io.ReadWriter) {
	var buf []byte
	in := make([]byte, 256)
	for {
		n, err := line.Read(in)
		if err != nil {
			return
		}
		buf = append(buf, in[:n]...)
		for bytes.Contains(buf, a.send) {
			_, buf, _ = bytes.Cut(buf, a.send)
			if _, err := line.Write(a.answer); err != nil {
				return
			}
		}
	}
}

func testPort(device string) config.Port {
	return config.Port{Name: "bus", Device: device, Baud: 19200, DataBits: 8, Parity: config.EvenParity, StopBits: 1, Timeout: 100 * time.Millisecond}
}

func pattern(text string) config.Pattern {
	p, err := config.ParsePattern(text)
	if err != nil {
		panic(err)
	}
	return p
}
