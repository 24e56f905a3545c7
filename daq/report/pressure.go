package report

import (
	"math"

	"flowrigd/calc/dye"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/calc/uncertainty"
	"flowrigd/config"
)

// heatSpread is the relative standard uncertainty of the heat lost: 0.18 K of a fall of
// 0.77 K (package heat, its example).
const heatSpread = 0.25

// ofWeight is how much more the water weighs for having cooled through the whole tube,
// kg/m³; none where that is not known.
func ofWeight(m *minute) float64 {
	w, err := waterNear(m.of(quantity.TubeTemperature))
	fall := m.of(quantity.TubeTemperatureFall)
	if err != nil || math.IsNaN(fall) {
		return 0
	}
	return w.Density * w.Expansion * fall
}

// dropsOf are the minutes in which the pressure drop is known, worked up as the measured
// friction factor is: of a vertical tube the weight of its water is balanced by that in
// the legs but for their densities, the legs at the room's temperature.
func dropsOf(all []minute, c *config.Config) (drops []transition.Drop) {
	bore, length := c.Tube.Bore.X, c.Tube.Length.X
	sign := map[pipe.Orientation]float64{pipe.VerticalDown: 1, pipe.VerticalUp: -1}[c.Tube.Orientation]
	begins := true
	for _, m := range all {
		begins = begins || m.begins
		re, v, rho := m.of(quantity.Reynolds), m.of(quantity.Velocity), m.of(quantity.Density)
		room := m.of(quantity.Ambient)
		if math.IsNaN(room) {
			room = c.Tube.Room.X
		}
		legs, err := waterNear(room)
		head := rho * v * v / 2 * length / bore
		drop := m.of(quantity.PressureDrop) - sign*pipe.Gravity*length*(legs.Density-rho)
		if err != nil || !(head > 0) || math.IsNaN(drop) || math.IsNaN(m.of(quantity.TubeTemperature)) {
			continue
		}
		drops = append(drops, transition.Drop{
			Heat:     sign * pipe.Gravity * c.Tube.WatchedAt.X * ofWeight(&m) * heatSpread,
			Reynolds: uncertainty.Expanded(re, m.of(quantity.ReynoldsUncertainty), 2), Celsius: m.of(quantity.TubeTemperature), Pascal: drop,
			Laminar: head * pipe.LaminarFriction(re), Turbulent: head * 0.3164 / math.Sqrt(math.Sqrt(re)),
			Looks: dye.Looks(minuteLong.Seconds(), v, bore), Begins: begins,
		})
		begins = false
	}
	return drops
}

// criticalsByPressure are the Re at which the drop stands midway between its branches.
func criticalsByPressure(drops []transition.Drop) (all []Critical, err error) {
	estimates, err := transition.Breaks(drops, 0)
	for _, e := range estimates {
		all = append(all, Critical{e, byPressure, e.Approach.String(), (e.LowCelsius + e.HighCelsius) / 2})
	}
	return all, err
}
