package config

import (
	"testing"
	"time"
)

// Times of 3.5 characters: "MODBUS over serial line" V1.02, 2.5.1.1 (11 bits a
// character, 1.75 ms fixed above 19200 Bd; 9600 Bd: 4010.42 µs read there, the others
// computed).
func TestSilence(t *testing.T) {
	tests := []struct {
		baud int
		want float64 // s
	}{
		{1200, 32.08333e-3}, {9600, 4.01042e-3}, {19200, 2.00521e-3}, {38400, 1.75e-3}, {115200, 1.75e-3},
	}
	for _, tt := range tests {
		p := Port{Baud: tt.baud, DataBits: 8, Parity: EvenParity, StopBits: 1}
		if got := p.Silence().Seconds(); !near(got, tt.want, 2e-6) {
			t.Errorf("%d Bd: %g s, want %g s", tt.baud, got, tt.want)
		}
	}
}

// Two registers at 19200 8E1: 17 characters of 11 bits and two silences are
// 13.75 ms, so 72.7 polls a second (computed by hand from the same clauses).
func TestPollTime(t *testing.T) {
	p := Port{Baud: 19200, DataBits: 8, Parity: EvenParity, StopBits: 1}
	in := Instrument{Modbus: &Modbus{Type: Float32}, Every: time.Second}
	if got := 1 / modbusPoll([]Instrument{in}).seconds(&p); !near(got, 72.7, 1e-3) {
		t.Errorf("%.2f polls a second", got)
	}
}

// Neighbouring registers of one slave at one pace cost one poll, others one
// each.
func TestPollsAreShared(t *testing.T) {
	at := func(address byte, register uint16, every time.Duration) Instrument {
		return Instrument{Name: "x", Port: "bus", Every: every, Modbus: &Modbus{Address: address, Register: register, Type: Float32}}
	}
	c := Config{Instruments: []Instrument{at(1, 2, time.Second), at(1, 0, time.Second), at(1, 4, 2*time.Second), at(1, 8, time.Second), at(2, 4, time.Second)}}
	polls := c.polls("bus")
	if len(polls) != 4 || polls[0].characters != 21 || polls[0].every != time.Second {
		t.Errorf("%+v", polls)
	}
	if len(c.polls("other")) != 0 {
		t.Error("polls on a line that has none")
	}
}
