package rigsim

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"math"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/daq/modbus"
)

func newSim(t testing.TB, o Options) *Sim {
	t.Helper()
	s, err := New(o)
	must(t, err)
	return s
}

// ask puts bytes on the bus and gives all that comes back.
func (s *Sim) ask(frame []byte) []byte {
	var all []byte
	for _, a := range s.hearBus(s.lines[lineBus], frame) {
		all = append(all, a.bytes...)
	}
	return all
}

func frameOf(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	must(t, err)
	return b
}

// The frames are those of the specification and of common print: "01 83 02 C0
// F1" is the specification's exception; the check of the others follows the
// worked example of "MODBUS over serial line" V1.02, 6.2.2.
func TestSlaveFrames(t *testing.T) {
	s := newSim(t, Options{Seed: 1, Relay: true})
	for _, c := range []struct{ name, request, want string }{
		{"a register that is not there", "01 03 00 6B 00 03 74 17", "01 83 02 C0 F1"},
		{"an address that is not there", "11 03 00 6B 00 03 76 87", ""},
		{"a broken check", "01 03 00 00 00 01 84 0B", ""},
		{"a broadcast", "00 06 00 01 00 03 99 DA", ""},
		{"no registers at all", "01 04 00 00 00 00 F0 0A", "01 84 03 03 01"},
		{"a function that is not there", "01 06 00 01 00 03 98 0B", "01 86 01 83 A0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := s.ask(frameOf(t, c.request)); !bytes.Equal(got, frameOf(t, c.want)) {
				t.Errorf("answer % X, want %s", got, c.want)
			}
		})
	}
}

func TestSlaveServesFlow(t *testing.T) {
	s := newSim(t, Options{Seed: 1})
	req := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	data, err := modbus.ParseResponse(req, s.ask(req))
	must(t, err)
	got := float64(math.Float32frombits(binary.BigEndian.Uint32(data))) * litreAMinute
	near(t, "flow on the wire", got, s.plant.flow(), 0.02)
}

func TestSlaveServesLevel(t *testing.T) {
	s := newSim(t, Options{Seed: 1})
	req := modbus.ReadRequest(2, modbus.ReadHoldingRegisters, 16, 1)
	data, err := modbus.ParseResponse(req, s.ask(req))
	must(t, err)
	got := (float64(binary.BigEndian.Uint16(data)) - 4000) / 16000 * 0.400
	if math.Abs(got-s.plant.tank.level) > 0.00125 {
		t.Errorf("level on the wire %.4f m, true %.4f m", got, s.plant.tank.level)
	}
}

// Noise before a request must cost nothing but itself.
func TestSlaveFindsRequestInNoise(t *testing.T) {
	s := newSim(t, Options{Seed: 1})
	req := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	got := s.ask(append([]byte{0x00, 0xFF, 0x01, 0x04, 0x33}, req...))
	if _, err := modbus.ParseResponse(req, got); err != nil {
		t.Errorf("after noise: %v", err)
	}
	if got = s.ask(req[:3]); got != nil {
		t.Errorf("a third of a request is answered: % X", got)
	}
	if _, err := modbus.ParseResponse(req, s.ask(req[3:])); err != nil {
		t.Errorf("a request in two parts: %v", err)
	}
}

func TestRelayCoil(t *testing.T) {
	s := newSim(t, Options{Seed: 1, Relay: true})
	on := modbus.WriteCoilRequest(9, 0, true)
	if got := s.ask(on); !bytes.Equal(got, on) {
		t.Fatalf("answer % X, want the request again", got)
	}
	if permitted, known := s.plantTruth().Get(quantity.HeatingPermitted); !known || permitted != 1 {
		t.Error("the coil is on and heating is not permitted")
	}
	read := modbus.ReadRequest(9, modbus.ReadCoils, 0, 1)
	if data, err := modbus.ParseResponse(read, s.ask(read)); err != nil || data[0] != 1 {
		t.Errorf("coil reads %v, %v", data, err)
	}
	bad := modbus.Request{Address: 9, Function: modbus.WriteSingleCoil, Count: 0x1234}.Frame()
	if got := s.ask(bad); len(got) != 5 || got[2] != illegalValue {
		t.Errorf("a coil value of 0x1234: % X, want exception 3", got)
	}
}

func (s *Sim) plantTruth() *quantity.Set {
	v := s.Truth().Values
	return &v
}

func TestNoRelayNoAnswer(t *testing.T) {
	s := newSim(t, Options{Seed: 1})
	if got := s.ask(modbus.WriteCoilRequest(9, 0, true)); got != nil {
		t.Errorf("a rig without a relay answers % X", got)
	}
}

func TestThermocoupleTalk(t *testing.T) {
	s := newSim(t, Options{Seed: 1})
	hear := func(text string) string {
		var all []byte
		for _, a := range s.hearTC(s.lines[lineTC], []byte(text)) {
			all = append(all, a.bytes...)
		}
		return string(all)
	}
	got := hear("T?\r")
	// Type K at 42 °C over 23 °C: 1.694 − 0.919 = 0.775 mV (IEC 60584-1 table,
	// from memory); ±1.5 K and ±0.5 K are 0.08 mV.
	if len(got) != len("T=0.775\r\n") || !strings.HasPrefix(got, "T=0.") || !strings.HasSuffix(got, "\r\n") {
		t.Errorf("T? gives %q", got)
	}
	if got := hear("T") + hear("?"); got != "" {
		t.Errorf("half a question gives %q", got)
	}
	if got := hear("\rX\r"); !strings.HasSuffix(got, "E=1\r\n") {
		t.Errorf("a question it does not know gives %q", got)
	}
}

func FuzzHearBus(f *testing.F) {
	f.Add([]byte{1, 4, 0, 0, 0, 2, 0x71, 0xCB})
	f.Add([]byte{9, 5, 0, 0, 0xFF, 0, 0x8D, 0x72})
	f.Fuzz(func(t *testing.T, p []byte) {
		s := newSim(t, Options{Seed: 1, Relay: true, Scenario: "sweep"})
		s.hearBus(s.lines[lineBus], p)
		if len(s.lines[lineBus].heard) >= requestSize {
			t.Errorf("keeps %d bytes", len(s.lines[lineBus].heard))
		}
	})
}

func FuzzHearTC(f *testing.F) {
	f.Add([]byte("T?\r"))
	f.Fuzz(func(t *testing.T, p []byte) {
		s := newSim(t, Options{Seed: 1})
		s.hearTC(s.lines[lineTC], p)
		if len(s.lines[lineTC].heard) > longestQuestion {
			t.Errorf("keeps %d bytes", len(s.lines[lineTC].heard))
		}
	})
}
