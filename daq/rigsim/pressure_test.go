package rigsim

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// What the transmitter across the tube feels: friction, and that water of the room's
// temperature in its legs is heavier than the tube's. By hand, of 900 mm by 13 mm: at Re
// 1500 and 20 °C in a room of 20 °C 64/Re alone, f·L/D·ρ·v²/2 with v = 1500·1.0034e-6/0.013;
// with the valve shut and water of 60 °C (983.2 kg/m³) against legs of 20 °C (998.2 kg/m³)
// 15.0·g·L = 132.5 Pa (densities of IAPWS SR6-08).
func TestWhatThePressureTransmitterFeels(t *testing.T) {
	p := newPlant(4, setting{20, 1500, 3.5}, true)
	p.room, p.bore, p.tube.torn, p.tube.bend = 20, 0.013, 0, 0
	p.tube.velocity = 1500 * 1.0034e-6 / 0.013
	near(t, "laminar, Pa", p.dropAt(20), 64.0/1500*0.9/0.013*998.2*math.Pow(p.tube.velocity, 2)/2, 2e-3)
	p.tube.velocity = 0
	near(t, "standing, warm, Pa", p.dropAt(60), (998.207-983.196)*gravity*0.9, 1e-3)
}

// The transmitter as a slave: its register over the line means what the tube feels, within
// the maker's limits, and from it the engine has a friction factor of 64/Re.
func TestThePressureTransmitterOnItsLine(t *testing.T) {
	w := watch(t, Options{Seed: 6, Scenario: "friction", Calm: true})
	var state daq.State
	for range 5 * 30 {
		state = w.interval()
	}
	raw, ok := pick(w.sim.table(6, input, 0, 1), modbus.Request{Address: 6, Function: byte(input), Count: 1})
	if !ok || len(raw) != 2 {
		t.Fatal("no register at address 6")
	}
	read := (float64(raw[0])*256+float64(raw[1]))/100 - 100
	felt, _ := w.sim.plantTruth().Get(quantity.PressureDrop)
	if got, known := state.Values.Get(quantity.PressureDrop); !known || math.Abs(got-felt) > 0.7 || math.Abs(read-felt) > 0.7 {
		t.Errorf("read %.2f Pa, on the line %.2f, felt %.2f", got, read, felt)
	}
	f, known := state.Values.Get(quantity.MeasuredFriction)
	u, _ := state.Values.Get(quantity.MeasuredFrictionUncertainty)
	re, _ := state.Values.Get(quantity.Reynolds)
	t.Logf("after %v: Re %.0f, friction %.4f ± %.4f, 64/Re %.4f", w.now.Round(time.Second), re, f, u, 64/re)
	if known && math.Abs(f-64/re) > u+0.15*64/re { // warm water bends the profile
		t.Errorf("friction %.4f ± %.4f at Re %.0f, 64/Re is %.4f", f, u, re, 64/re)
	}
	if !known {
		t.Error("no friction factor was measured")
	}
	if w := newSim(t, Options{Seed: 6, Scenario: "sweep"}); w.sensor(quantity.PressureDrop) != nil {
		t.Error("a rig has a transmitter that it was not to have")
	}
}
