package pipe

import (
	"math"

	"flowrigd/calc/quantity"
)

// Kinetic energy factors α of the velocity profile: 2 for the parabola of
// laminar flow (exact); 1.06 in turbulent flow, computed for the velocity
// profile u ~ y^(1/7), which gives 1.058 (TestKineticEnergyFactors).
const (
	alphaLaminar   = 2.0
	alphaTurbulent = 1.06
)

// colebrookU is the relative standard uncertainty of Colebrook's friction in a
// smooth tube; common practice, no source. 64/Re is exact.
const colebrookU = 0.01

// loss is the coefficient of all losses but tube friction with its standard
// uncertainty. With A = 2gH/v² and B = f·L/D, the energy equation
// H = v²/2g·(α + K + f·L/D) gives
//
//	K = A − α − B.
//
// dA/A = dH/H + 4·dD/D − 2·dQ/Q, because v goes with Q/D²; and with the relative
// slopes m of f to Re and n of f to ε,
// dB/B = m·(dQ/Q − dD/D − dν/ν) + n·(dε/ε − dD/D) + dL/L − dD/D. One flow and one
// bore enter both parts, so the sensitivities are added before they are squared.
type loss struct{ k, u float64 }

func (p *Pipe) loss(band quantity.Band, f friction, velocity, head, headU float64, r *relative) loss {
	alpha, model := alphaLaminar, 0.0
	if band == quantity.Turbulent {
		alpha, model = alphaTurbulent, colebrookU
	}
	a := 2 * Gravity * head / (velocity * velocity)
	b := f.factor * p.rig.Length.X / p.bore
	flow := (2*a + f.slopeRe*b) * math.Hypot(r.flow, r.flowExtra)
	bore := (4*a + (f.slopeRe+f.slopeEps+1)*b) * r.bore
	nu := f.slopeRe * b * math.Hypot(r.formula, math.Hypot(r.warmth, r.warmExtra))
	height := a * headU / head
	length := b * p.rig.Length.Relative()
	wall := 0.0
	if p.rig.Roughness.X > 0 && f.slopeEps != 0 {
		wall = f.slopeEps * b * p.rig.Roughness.Relative()
	}
	own := b * model
	return loss{
		k: a - alpha - b,
		u: math.Sqrt(flow*flow + bore*bore + nu*nu + height*height + length*length + wall*wall + own*own),
	}
}
