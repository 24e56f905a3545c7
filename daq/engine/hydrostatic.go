package engine

import (
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/daq"
)

// weighLevel puts right a level sensor that weighs the water above it: it shows
// h·ρ(T)/ρ(as it was set). The thermometer in the tank serves where there is one,
// else that of the tube's inlet. Without a temperature the level is doubtful.
func (e *Engine) weighLevel() {
	in := e.cfg.Instrument(quantity.Level)
	m := &e.measured[quantity.Level]
	if in == nil || in.HydrostaticAt == nil || !m.Quality.Usable() {
		return
	}
	t := &e.measured[quantity.Tank]
	if !t.Quality.Usable() {
		t = &e.measured[quantity.Temperature]
	}
	set, errSet := water.At(*in.HydrostaticAt)
	now, errNow := water.At(t.Value)
	if !t.Quality.Usable() || errSet != nil || errNow != nil {
		if m.Quality.Grade == daq.Good {
			m.Quality = daq.Quality{Grade: daq.Uncertain, Why: "the sensor weighs the water, whose temperature is not known"}
		}
		return
	}
	m.Value *= set.Density / now.Density
}
