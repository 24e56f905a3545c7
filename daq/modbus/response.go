package modbus

import (
	"bytes"
	"cmp"
	"fmt"
)

// Exception is a slave's refusal (A 7).
type Exception struct {
	Address  byte
	Function byte
	Code     byte
}

// Error says what the code means and what to look at.
func (e *Exception) Error() string {
	return fmt.Sprintf("address %d refuses function %d with exception %d, %s", e.Address, e.Function, e.Code, cmp.Or(meanings[e.Code], "a code outside the standard; see the device's manual"))
}

// meanings puts A 7 into words.
var meanings = map[byte]string{
	1:  "function not supported; try the other table (input or holding)",
	2:  "no such register; check register or reference and the type's size",
	3:  "illegal count of registers; check the type",
	4:  "the device has failed; see its own display or manual",
	5:  "accepted, but it takes long; poll more slowly",
	6:  "the device is busy; poll more slowly",
	8:  "memory parity error in the device",
	10: "the gateway has no path; check the gateway's settings",
	11: "the device behind the gateway does not answer; check its wiring",
}

// ReadResponse is the frame that answers a read request, for a slave.
func ReadResponse(address, function byte, data []byte) []byte {
	b := append(make([]byte, 0, 5+len(data)), address, function, byte(len(data)))
	return AppendCRC(append(b, data...))
}

// ExceptionResponse is the frame of a refusal, for a slave.
func ExceptionResponse(address, function, code byte) []byte {
	return AppendCRC([]byte{address, function | 0x80, code})
}

// ResponseSize is the size of the frame that begins with these bytes; 0 while
// that cannot be told yet, or when the function is none of those here.
func ResponseSize(begin []byte) int {
	if len(begin) < 2 {
		return 0
	}
	switch f := begin[1]; {
	case f&0x80 != 0:
		return 5
	case f == WriteSingleCoil:
		return requestSize
	case f >= ReadCoils && f <= ReadInputRegisters && len(begin) > 2:
		return 5 + int(begin[2])
	}
	return 0
}

// ParseResponse checks a whole frame against the request and gives its data:
// bytes of registers or bits for a read, nothing for a write. Every byte of
// the frame has to be accounted for. Errors: ErrShort, ErrChecksum,
// ErrProtocol, *Exception.
func ParseResponse(request, frame []byte) ([]byte, error) {
	asked, err := ParseRequest(request)
	if err != nil {
		return nil, fmt.Errorf("request: %w", err)
	}
	if len(frame) < 5 {
		return nil, fmt.Errorf("%w: %d bytes", ErrShort, len(frame))
	}
	if CRC(frame) != 0 {
		return nil, ErrChecksum
	}
	if frame[0] != asked.Address {
		return nil, fmt.Errorf("%w: address %d answers where %d was asked", ErrProtocol, frame[0], asked.Address)
	}
	if frame[1] == asked.Function|0x80 && len(frame) == 5 {
		return nil, &Exception{asked.Address, asked.Function, frame[2]}
	}
	if frame[1] != asked.Function {
		return nil, fmt.Errorf("%w: function %d answers where %d was asked", ErrProtocol, frame[1], asked.Function)
	}
	if asked.Function == WriteSingleCoil {
		if !bytes.Equal(request, frame) { // A 6.5
			return nil, fmt.Errorf("%w: it does not repeat what was written", ErrProtocol)
		}
		return nil, nil
	}
	size := asked.DataSize()
	if int(frame[2]) != size || len(frame) != 5+size {
		return nil, fmt.Errorf("%w: %d bytes of data in a frame of %d where %d of data were asked", ErrProtocol, frame[2], len(frame), size)
	}
	return frame[3 : 3+size], nil
}
