package rigsim

import "math"

// tank is the head tank with its overflow.
type tank struct {
	level   float64 // m above the level sensor's datum
	celsius float64
}

// overflow is the flow over the lip, m³/s, at a height of water above it:
// the sharp-crested weir, Q = ⅔·C·b·√(2g)·H^1.5.
func overflow(height float64) float64 {
	if height <= 0 {
		return 0
	}
	return 2.0 / 3 * weirDischarge * weirWidth * math.Sqrt(2*gravity) * height * math.Sqrt(height)
}

// crest is the height of water at which the overflow carries a flow, m.
func crest(flow float64) float64 {
	return math.Pow(math.Max(0, flow)/overflow(1), 2.0/3)
}

// step advances the tank: A·dh/dt = Q_in − Q_weir − Q_tube, and the heat of the
// water in it. What leaves has the tank's temperature, so only what comes and
// what the walls lose change it.
func (t *tank) step(dt, lip, in, inCelsius, out float64) {
	volume := tankArea*t.level + tankDead
	heat := heatPerVolume*in*(inCelsius-t.celsius) - tankLoss*(t.celsius-roomCelsius)
	t.celsius += dt * heat / (heatPerVolume * volume)
	t.level += dt * (in - overflow(t.level-lip) - out) / tankArea
	t.level = math.Max(0, t.level)
}
