package rigsim

import "math"

// heater is the inline heater through which the supply runs.
type heater struct {
	outlet   float64 // °C of the water that leaves it
	setpoint float64 // °C of the outlet
	stuck    bool    // the power stage conducts whatever the thermostat says
	cutOut   bool    // the thermal cut-out has opened
	power    float64 // W drawn now
}

// step advances the heater: C·dT/dt = P + ρc·Q·(T_in − T) − UA·(T − T_room).
func (h *heater) step(dt, supply float64, around surroundings, contact bool) {
	h.cutOut = h.cutOut || h.outlet >= cutOutCelsius
	h.power = 0
	if contact && !h.cutOut {
		h.power = h.demand(supply, around)
	}
	carried := heatPerVolume * supply * (around.mains - h.outlet)
	lost := heaterLoss * (h.outlet - around.room)
	h.outlet += dt * (h.power + carried - lost) / heaterCapacity
}

// demand is what the thermostat asks for: the heat that the flow needs, and a
// part in proportion to what is missing.
func (h *heater) demand(supply float64, around surroundings) float64 {
	if h.stuck {
		return heaterPower
	}
	need := heatPerVolume*supply*(h.setpoint-around.mains) + heaterLoss*(h.setpoint-around.room)
	if supply < minimumSupply {
		need = 0 // the heater's own flow switch
	}
	return math.Min(heaterPower, math.Max(0, need+heaterGain*(h.setpoint-h.outlet)))
}

// minimumSupply is the flow below which the heater's flow switch keeps the
// thermostat from feeding forward, m³/s (0.5 L/min).
const minimumSupply = 0.5e-3 / 60
