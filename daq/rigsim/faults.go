package rigsim

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"time"

	"flowrigd/daq/modbus"
)

// Fault is something that goes wrong with an answer on the line.
type Fault uint8

// The faults. The first four befall any line, Wrong and Exception Modbus alone.
const (
	Noise     Fault = iota // some bytes are hit
	Cut                    // the answer breaks off
	Silence                // no answer at all
	Late                   // the answer comes after the master has given up
	Echo                   // the adapter hands the question back before the answer
	Wrong                  // another address answers
	Exception              // the slave refuses: its device has failed
	faultCount
)

// String is the fault's word.
func (f Fault) String() string {
	words := [...]string{"noise", "cut", "silence", "late", "echo", "wrong-address", "exception"}
	if int(f) < len(words) {
		return words[f]
	}
	return fmt.Sprintf("fault %d", uint8(f))
}

// Faults lists every fault.
func Faults() []Fault {
	list := make([]Fault, faultCount)
	for i := range list {
		list[i] = Fault(i)
	}
	return list
}

// answer is bytes that go out after a pause.
type answer struct {
	bytes []byte
	after time.Duration
}

// lateBy is longer than the time-out that rig.toml states.
const lateBy = 350 * time.Millisecond

// Faulter puts faults on the answers of a line, each with its own probability
// from 0 to 1 for an answer, from a seeded generator. Its zero value changes
// nothing.
type Faulter struct {
	Rate   [faultCount]float64
	Modbus bool // the answers are Modbus frames
	random *rand.Rand
}

// NewFaulter makes a Faulter without faults.
func NewFaulter(seed uint64, isModbus bool) *Faulter {
	return &Faulter{Modbus: isModbus, random: randomStream(seed, streamWire)}
}

// Mangle is what the line makes of an answer: its bytes, or nothing, and how
// late they come. hit is the fault that was put on it, when there is one.
func (f *Faulter) Mangle(request, reply []byte) (wire []byte, late time.Duration, hit Fault, is bool) {
	for fault := range faultCount {
		if f.Rate[fault] > 0 && f.random.Float64() < f.Rate[fault] {
			wire, late = f.apply(fault, request, reply)
			return wire, late, fault, true
		}
	}
	return reply, 0, 0, false
}

// mangle puts the line's faults, if it has any, on an answer.
func (s *Sim) mangle(l *line, request, reply []byte) []answer {
	s.mu.Lock()
	defer s.mu.Unlock()
	wire, late, _, _ := l.faults.Mangle(request, reply)
	if len(wire) == 0 {
		return nil
	}
	return []answer{{wire, late}}
}

func (f *Faulter) apply(fault Fault, request, reply []byte) ([]byte, time.Duration) {
	switch fault {
	case Noise:
		return f.hit(reply), 0
	case Cut:
		return reply[:f.random.IntN(len(reply))], 0
	case Silence:
		return nil, 0
	case Late:
		return reply, lateBy
	case Echo:
		return append(bytes.Clone(request), reply...), 0
	case Wrong:
		return f.elsewhere(reply), 0
	}
	return f.refuse(reply), 0
}

// hit changes one to three bytes, or puts a byte between two.
func (f *Faulter) hit(reply []byte) []byte {
	wire := bytes.Clone(reply)
	for range 1 + f.random.IntN(3) {
		wire[f.random.IntN(len(wire))] ^= byte(1 + f.random.IntN(255))
	}
	if f.random.IntN(4) == 0 {
		at := f.random.IntN(len(wire) + 1)
		wire = append(wire[:at:at], append([]byte{byte(f.random.IntN(256))}, wire[at:]...)...)
	}
	if bytes.Equal(wire, reply) {
		return f.hit(reply) // two hits have undone each other
	}
	return wire
}

// elsewhere is the same answer from the next address, with a right check.
func (f *Faulter) elsewhere(reply []byte) []byte {
	if !f.Modbus {
		return append([]byte("X"), reply...)
	}
	wire := bytes.Clone(reply[:len(reply)-2])
	wire[0]++
	return modbus.AppendCRC(wire)
}

// refuse is a refusal in place of the answer: code 4, the device has failed.
func (f *Faulter) refuse(reply []byte) []byte {
	if !f.Modbus {
		return []byte("E=4\r\n")
	}
	return modbus.ExceptionResponse(reply[0], reply[1], 4)
}
