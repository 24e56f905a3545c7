package instrument

import (
	"encoding/binary"
	"math"
	"slices"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// function is the Modbus function that reads each table.
var function = [...]byte{
	config.InputTable: modbus.ReadInputRegisters, config.HoldingTable: modbus.ReadHoldingRegisters,
	config.DiscreteTable: modbus.ReadDiscreteInputs, config.CoilTable: modbus.ReadCoils,
}

// decode takes a number out of the data of an answer that begins at the
// register start. A float that is no finite number is a failed sensor's flag.
func decode(m *config.Modbus, data []byte, start uint16) (number float64, count uint64, err error) {
	offset := int(m.Register - start)
	if m.Table.Bits() {
		bit := data[offset/8] >> (offset % 8) & 1
		return float64(bit), uint64(bit), nil
	}
	b := slices.Clone(data[2*offset : 2*(offset+m.Type.Words())])
	reorder(b, m.WordsLittle, m.BytesSwapped)
	number, count = ofType(m.Type, b)
	if math.IsNaN(number) || math.IsInf(number, 0) {
		return 0, 0, faultf(daq.ReasonOpen, "the instrument sends %v in place of a number: its sensor is open or has failed; or check words and bytes", number)
	}
	return number, count, nil
}

// reorder brings registers into the order of the standard: high word first,
// high byte first.
func reorder(b []byte, wordsLittle, bytesSwapped bool) {
	if bytesSwapped {
		for i := 0; i+1 < len(b); i += 2 {
			b[i], b[i+1] = b[i+1], b[i]
		}
	}
	if wordsLittle {
		for i, j := 0, len(b)-2; i < j; i, j = i+2, j-2 {
			b[i], b[i+1], b[j], b[j+1] = b[j], b[j+1], b[i], b[i+1]
		}
	}
}

// ofType reads big-endian bytes; count is the same for an unsigned integer.
func ofType(t config.NumberType, b []byte) (number float64, count uint64) {
	switch t {
	case config.Int16:
		return float64(int16(binary.BigEndian.Uint16(b))), 0
	case config.Uint32:
		count = uint64(binary.BigEndian.Uint32(b))
	case config.Int32:
		return float64(int32(binary.BigEndian.Uint32(b))), 0
	case config.Float32:
		number = float64(math.Float32frombits(binary.BigEndian.Uint32(b)))
		return number, whole(number)
	case config.Uint64:
		count = binary.BigEndian.Uint64(b)
	case config.Float64:
		number = math.Float64frombits(binary.BigEndian.Uint64(b))
		return number, whole(number)
	default:
		count = uint64(binary.BigEndian.Uint16(b))
	}
	return float64(count), count
}

// whole is the count that a number stands for: a meter may send it as text or
// float. Negative numbers and those beyond 2^53 count nothing.
func whole(number float64) uint64 {
	if number >= 0 && number <= 1<<53 {
		return uint64(number)
	}
	return 0
}
