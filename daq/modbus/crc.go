// Package modbus owns the frames of Modbus RTU: building and taking apart
// requests and answers, with their check.
//
//	request → bytes …line… bytes → answer or Exception
//
// It opens no line, waits for nothing and knows no instrument: the master and
// the simulated slaves do.
//
// Sources, cited at the lines that use them: S is "MODBUS over serial line
// specification and implementation guide V1.02", A is "MODBUS application
// protocol specification V1.1b3".
package modbus

// crcTable holds CRC of each byte (S 6.2.2: polynomial 0x8005, reflected).
var crcTable = func() (table [256]uint16) {
	for i := range table {
		crc := uint16(i)
		for range 8 {
			odd := crc&1 == 1
			crc >>= 1
			if odd {
				crc ^= 0xA001
			}
		}
		table[i] = crc
	}
	return table
}()

// CRC is the check of a frame (S 6.2.2). Over a frame with its check it is 0.
func CRC(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc = crc>>8 ^ crcTable[byte(crc)^b]
	}
	return crc
}

// AppendCRC appends the check, low byte first (S 2.5.1.2).
func AppendCRC(frame []byte) []byte {
	crc := CRC(frame)
	return append(frame, byte(crc), byte(crc>>8))
}
