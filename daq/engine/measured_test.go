package engine

import (
	"math"
	"testing"
	"time"

	"flowrigd/calc/quantity"
)

// A transmitter of the tube gives its friction factor: 3 L/min at 20 °C, legs in a room of
// 20 °C, so 300 Pa are f = 0.0612 by hand (see calc/pipe). Without flow there is none.
func TestMeasuredFriction(t *testing.T) {
	b := benchWith(t, benchText+`
[instruments.pressure_drop]
port = "bus"
modbus = {address = 4, table = "input", register = 2}
unit = "Pa"
accuracy = {fixed = "5 Pa"}
`)
	b.run(2*time.Second, 3, 20, 260)
	b.read(quantity.PressureDrop, 300)
	if f := b.value(quantity.MeasuredFriction); math.Abs(f-0.06118) > 2e-4 {
		t.Errorf("f = %v", f)
	}
	u, _ := b.state.U.Get(quantity.MeasuredFriction)
	if expanded := b.value(quantity.MeasuredFrictionUncertainty); math.Abs(expanded-2*u) > 1e-12 || u/0.0612 < 0.01 || u/0.0612 > 0.05 {
		t.Errorf("U = %v, u = %v", expanded, u)
	}
	b.run(2*time.Second, 0, 20, 260)
	b.read(quantity.PressureDrop, 300)
	if f, known := b.state.Values.Get(quantity.MeasuredFriction); known {
		t.Errorf("f = %v without flow", f)
	}
}
