package modbus

import (
	"bytes"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
)

func unhex(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Source: CRC-16/MODBUS check string (computed with the algorithm of S 6.2.2)
// and the worked example 02 07 of S 6.2.2 (read).
func TestCRC(t *testing.T) {
	for text, want := range map[string]uint16{"123456789": 0x4B37, "": 0xFFFF, "\x02\x07": 0x1241} {
		if got := CRC([]byte(text)); got != want {
			t.Errorf("CRC(%q) = %04X, want %04X", text, got, want)
		}
	}
}

// Source: examples of A 6.1 to 6.5 (from memory), their CRC computed by an
// independent program that reproduces the example of S 6.2.2.
func TestRequests(t *testing.T) {
	cases := []struct {
		name  string
		frame []byte
		want  string
	}{
		{"read coils", ReadRequest(1, ReadCoils, 0x13, 19), "01 01 00 13 00 13 8C 02"},
		{"read discrete inputs", ReadRequest(1, ReadDiscreteInputs, 0xC4, 22), "01 02 00 C4 00 16 B8 39"},
		{"read holding registers", ReadRequest(1, ReadHoldingRegisters, 0x6B, 3), "01 03 00 6B 00 03 74 17"},
		{"read input registers", ReadRequest(1, ReadInputRegisters, 8, 1), "01 04 00 08 00 01 B0 08"},
		{"highest address", ReadRequest(247, ReadInputRegisters, 0, 2), "F7 04 00 00 00 02 65 5D"},
		{"write coil on", WriteCoilRequest(1, 0xAC, true), "01 05 00 AC FF 00 4C 1B"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if want := unhex(t, c.want); !bytes.Equal(c.frame, want) {
				t.Errorf("% X, want % X", c.frame, want)
			}
			if got, err := ParseRequest(c.frame); err != nil || !bytes.Equal(got.Frame(), c.frame) {
				t.Errorf("ParseRequest: %+v, %v", got, err)
			}
		})
	}
}

// Source: as TestRequests.
func TestResponses(t *testing.T) {
	cases := []struct{ name, request, response, data string }{
		{"read coils", "01 01 00 13 00 13 8C 02", "01 01 03 CD 6B 05 42 82", "CD 6B 05"},
		{"read discrete inputs", "01 02 00 C4 00 16 B8 39", "01 02 03 AC DB 35 22 88", "AC DB 35"},
		{"read holding registers", "01 03 00 6B 00 03 74 17", "01 03 06 02 2B 00 00 00 64 05 7A", "02 2B 00 00 00 64"},
		{"read input registers", "01 04 00 08 00 01 B0 08", "01 04 02 00 0A 39 37", "00 0A"},
		{"write coil", "01 05 00 AC FF 00 4C 1B", "01 05 00 AC FF 00 4C 1B", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			frame, want := unhex(t, c.response), unhex(t, c.data)
			got, err := ParseResponse(unhex(t, c.request), frame)
			if err != nil || !bytes.Equal(got, want) {
				t.Errorf("% X, %v, want % X", got, err, want)
			}
			if n := ResponseSize(frame[:3]); n != len(frame) {
				t.Errorf("ResponseSize = %d, want %d", n, len(frame))
			}
			if len(want) > 0 && !bytes.Equal(ReadResponse(frame[0], frame[1], want), frame) {
				t.Errorf("ReadResponse = % X, want % X", ReadResponse(frame[0], frame[1], want), frame)
			}
		})
	}
}

// Source: A 7, frames of exceptions computed as in TestRequests.
func TestExceptions(t *testing.T) {
	_, err := ParseResponse(ReadRequest(1, ReadHoldingRegisters, 0, 1), unhex(t, "01 83 02 C0 F1"))
	var refused *Exception
	if !errors.As(err, &refused) || refused.Code != 2 || !strings.Contains(err.Error(), "no such register") {
		t.Errorf("got %v", err)
	}
	if got, want := ExceptionResponse(1, 3, 4), unhex(t, "01 83 04 40 F3"); !bytes.Equal(got, want) {
		t.Errorf("% X, want % X", got, want)
	}
}

func TestRefusedResponses(t *testing.T) {
	request := ReadRequest(1, ReadInputRegisters, 0, 2)
	good := ReadResponse(1, ReadInputRegisters, []byte{1, 2, 3, 4})
	flipped := bytes.Clone(good)
	flipped[4] ^= 0x10
	cases := []struct {
		name  string
		frame []byte
		want  error
	}{
		{"nothing", nil, ErrShort},
		{"cut", good[:4], ErrShort},
		{"cut later", good[:7], ErrChecksum},
		{"one bit wrong", flipped, ErrChecksum},
		{"a byte before", append([]byte{0}, good...), ErrChecksum},
		{"a byte behind", append(bytes.Clone(good), 7), ErrChecksum},
		// The CRC of a whole frame is 0 and stays 0 over zeros: the length has to tell.
		{"a zero behind", append(bytes.Clone(good), 0), ErrProtocol},
		{"another address", ReadResponse(2, ReadInputRegisters, []byte{1, 2, 3, 4}), ErrProtocol},
		{"another function", ReadResponse(1, ReadHoldingRegisters, []byte{1, 2, 3, 4}), ErrProtocol},
		{"too few registers", ReadResponse(1, ReadInputRegisters, []byte{1, 2}), ErrProtocol},
		{"count and length apart", AppendCRC([]byte{1, 4, 4, 1, 2}), ErrProtocol},
		{"another function's exception", ExceptionResponse(1, ReadHoldingRegisters, 2), ErrProtocol},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if data, err := ParseResponse(request, c.frame); !errors.Is(err, c.want) || data != nil {
				t.Errorf("% X, %v, want %v", data, err, c.want)
			}
		})
	}
	if _, err := ParseResponse(WriteCoilRequest(1, 0, true), WriteCoilRequest(1, 0, false)); !errors.Is(err, ErrProtocol) {
		t.Errorf("a write answered with the other value: %v", err)
	}
}

func FuzzParseResponse(f *testing.F) {
	request := ReadRequest(1, ReadInputRegisters, 0, 2)
	f.Add(request, ReadResponse(1, ReadInputRegisters, []byte{1, 2, 3, 4}))
	f.Add(request, ExceptionResponse(1, ReadInputRegisters, 2))
	f.Add(WriteCoilRequest(9, 0, true), WriteCoilRequest(9, 0, true))
	f.Add([]byte{}, []byte{1})
	f.Fuzz(func(t *testing.T, request, frame []byte) {
		if n := ResponseSize(frame); n < 0 || n > 5+255 {
			t.Fatalf("ResponseSize = %d", n)
		}
		data, err := ParseResponse(request, frame)
		if err == nil && (CRC(frame) != 0 || len(data) > len(frame)) {
			t.Fatalf("took % X as an answer to % X", frame, request)
		}
	})
}
