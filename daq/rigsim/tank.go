package rigsim

import "math"

// tank is the head tank with its overflow: two layers, of which the lower has a
// constant share of the water.
type tank struct {
	level   float64 // m above the level sensor's datum
	celsius float64 // of the lower water, from which the tube draws
	above   float64 // °C of the upper water, where supply, overflow and the tank's probe are
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

// mixing is the flow that goes to and fro between the layers, m³/s.
func (t *tank) mixing(in float64) float64 {
	if t.above < t.celsius {
		return turnover
	}
	return conduction + stirring*in
}

// step advances the tank: A·dh/dt = Q_in − Q_weir − Q_tube, and the heat of its
// two layers. What leaves a layer has its temperature, so only what comes and
// what the walls lose change it.
func (t *tank) step(dt, lip, room, in, inCelsius, out float64) {
	volume := tankArea*t.level + tankDead
	rise := in - overflow(t.level-lip) - out
	mixing := t.mixing(in)
	lost := tankLoss / heatPerVolume
	upper := in*(inCelsius-t.above) - (1-lowerShare)*lost*(t.above-room)
	lower := -lowerShare * lost * (t.celsius - room)
	// The layers' boundary moves with the level.
	if down := out + lowerShare*rise; down > 0 {
		lower += down * (t.above - t.celsius)
	} else {
		upper -= down * (t.celsius - t.above)
	}
	upper += mixing * (t.celsius - t.above)
	lower += mixing * (t.above - t.celsius)
	t.above += dt * upper / ((1 - lowerShare) * volume)
	t.celsius += dt * lower / (lowerShare * volume)
	t.level = math.Max(0, t.level+dt*rise/tankArea)
}

// rest finds what the upper water and the supply must have for the lower water
// to stay at a temperature while out flows through the tube.
func (t *tank) rest(celsius, room, in, out float64) (above, supply float64) {
	lost := tankLoss / heatPerVolume
	still := tank{celsius: celsius, above: celsius}
	if celsius < room {
		still.above-- // it turns over
	}
	mixing := still.mixing(in)
	above = celsius + lowerShare*lost*(celsius-room)/(out+mixing)
	if in <= 0 {
		return above, above
	}
	return above, above + ((1-lowerShare)*lost*(above-room)+mixing*(above-celsius))/in
}
