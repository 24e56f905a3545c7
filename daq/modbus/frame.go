package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// The functions that are built and read here (A 6).
const (
	ReadCoils            = 0x01
	ReadDiscreteInputs   = 0x02
	ReadHoldingRegisters = 0x03
	ReadInputRegisters   = 0x04
	WriteSingleCoil      = 0x05
)

// The limits of one request (A 6.1, 6.3).
const (
	MaxBits      = 2000
	MaxRegisters = 125
)

// requestSize is the size of every request built here.
const requestSize = 8

// What is wrong with a frame; one of ErrProtocol is whole.
var (
	ErrChecksum = errors.New("the frame's CRC does not agree with its bytes")
	ErrProtocol = errors.New("the frame is no answer to the request")
	ErrShort    = errors.New("the frame is cut")
)

// Request is what a master asks, taken apart.
type Request struct {
	Address  byte
	Function byte
	Start    uint16 // register or coil, zero-based
	Count    uint16 // of registers or bits; 0xFF00 or 0 for WriteSingleCoil
}

// Frame is the request with its check.
func (r Request) Frame() []byte {
	b := binary.BigEndian.AppendUint16([]byte{r.Address, r.Function}, r.Start)
	return AppendCRC(binary.BigEndian.AppendUint16(b, r.Count))
}

// ReadRequest is the frame that asks for count registers or bits from start.
func ReadRequest(address, function byte, start, count uint16) []byte {
	return Request{address, function, start, count}.Frame()
}

// WriteCoilRequest is the frame that sets one coil (A 6.5).
func WriteCoilRequest(address byte, coil uint16, on bool) []byte {
	r := Request{Address: address, Function: WriteSingleCoil, Start: coil}
	if on {
		r.Count = 0xFF00
	}
	return r.Frame()
}

// ParseRequest takes a request apart, for a slave. A slave stays silent on any
// error (S 2.4.1).
func ParseRequest(frame []byte) (Request, error) {
	if len(frame) < requestSize {
		return Request{}, ErrShort
	}
	if CRC(frame) != 0 {
		return Request{}, ErrChecksum
	}
	if len(frame) > requestSize {
		return Request{}, fmt.Errorf("%w: %d bytes where a request has %d", ErrProtocol, len(frame), requestSize)
	}
	return Request{
		Address:  frame[0],
		Function: frame[1],
		Start:    binary.BigEndian.Uint16(frame[2:]),
		Count:    binary.BigEndian.Uint16(frame[4:]),
	}, nil
}

// Bits says whether a function reads bits and not registers.
func Bits(function byte) bool {
	return function == ReadCoils || function == ReadDiscreteInputs
}

// DataSize is how many bytes of data the answer to a read request carries.
func (r Request) DataSize() int {
	if Bits(r.Function) {
		return (int(r.Count) + 7) / 8
	}
	return 2 * int(r.Count)
}
