package rigsim

import (
	"bytes"
	"math"
	"testing"

	"flowrigd/daq/modbus"
)

// Each fault does what its name says to an answer, on both kinds of line.
func TestFaults(t *testing.T) {
	request := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	reply := modbus.ReadResponse(1, modbus.ReadInputRegisters, []byte{0x41, 0xCC, 0, 0})
	for _, f := range Faults() {
		t.Run(f.String(), func(t *testing.T) {
			fr := NewFaulter(7, true)
			fr.Rate[f] = 1
			wire, late, hit, is := fr.Mangle(request, reply)
			if !is || hit != f {
				t.Fatalf("hit %v, %v", hit, is)
			}
			_, err := modbus.ParseResponse(request, wire)
			switch {
			case f == Late && (late < lateBy || err != nil):
				t.Errorf("late by %v, %v", late, err)
			case f != Late && err == nil:
				t.Errorf("% X passes as the answer", wire)
			case f == Silence && len(wire) > 0, f == Echo && !bytes.Equal(wire, append(bytes.Clone(request), reply...)):
				t.Errorf("% X on the wire", wire)
			}
			if _, e := modbus.ParseResponse(request, reply); e != nil {
				t.Errorf("the fault has changed the answer itself: %v", e)
			}
		})
	}
}

// Faults come as often as their rate says, the same ones for the same seed,
// and none without a rate.
func TestFaultRate(t *testing.T) {
	const n = 20_000
	count := func(seed uint64) (hits int) {
		fr := NewFaulter(seed, false)
		fr.Rate[Silence], fr.Rate[Cut] = 0.05, 0.05
		for range n {
			if _, _, _, is := fr.Mangle([]byte("T?\r"), []byte("T=0.775\r\n")); is {
				hits++
			}
		}
		return hits
	}
	// 1 − 0.95² = 0.0975; the binomial's standard deviation is 42 of 1950.
	hits := count(1)
	if math.Abs(float64(hits)-0.0975*n) > 5*42 {
		t.Errorf("%d of %d answers hit, want about 1950", hits, n)
	}
	if again := count(1); again != hits {
		t.Errorf("one seed, %d faults and then %d", hits, again)
	}
	if _, _, _, is := new(Faulter).Mangle(nil, []byte("T=1\r\n")); is {
		t.Error("a fault without a rate")
	}
}

// The scenario "noise" leaves most exchanges clean and hits some.
func TestNoiseScenario(t *testing.T) {
	s := newSim(t, Options{Scenario: "noise", Seed: 1})
	s.Advance(6e9)
	request := modbus.ReadRequest(1, modbus.ReadInputRegisters, 0, 2)
	clean := 0
	for range 1000 {
		s.lines[lineBus].heard = nil
		if _, err := modbus.ParseResponse(request, s.ask(request)); err == nil {
			clean++
		}
	}
	if clean < 880 || clean > 970 {
		t.Errorf("%d of 1000 exchanges clean, want about 925 (late ones are whole)", clean)
	}
}
