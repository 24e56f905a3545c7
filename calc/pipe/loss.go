package pipe

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
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

// drag is what the tube itself costs: friction and kinetic energy, each with the
// standard uncertainty of not knowing which law holds.
type drag struct {
	friction
	alpha, frictionU, alphaU float64
	stated                   bool // the friction is known well enough to be told
}

// drag is that of a band. Laminar, 64/Re and α = 2, bracketed where heat through the
// wall has bent the profile. Turbulent, Colebrook. Between the limits both laws bound
// it, for the flow changes to and fro between them; friction and α are then taken as
// independent, which is the wider.
func (p *Pipe) drag(band quantity.Band, re float64, t *Tube) drag {
	if band == quantity.Turbulent {
		f := colebrook(re, p.relativeWall)
		return drag{friction: f, alpha: alphaTurbulent, frictionU: f.factor * colebrookU, stated: true}
	}
	part, alpha := t.bent()
	laminar := LaminarFriction(re)
	factor := bracket{part.low * laminar, part.high * laminar}
	f := friction{factor: factor.middle(), slopeRe: -1}
	if band == quantity.Transitional {
		turbulent := colebrook(re, p.relativeWall)
		factor = bracket{math.Min(factor.low, turbulent.factor), math.Max(factor.high, turbulent.factor)}
		alpha.low = alphaTurbulent
		half := turbulent.factor / (turbulent.factor + laminar) // of each law's share in the middle
		f = friction{factor: factor.middle(), slopeRe: half*turbulent.slopeRe - (1 - half), slopeEps: half * turbulent.slopeEps}
	}
	return drag{
		friction: f, frictionU: factor.u(), alpha: alpha.middle(), alphaU: alpha.u(),
		stated: band == quantity.Laminar && !(t.GrashofReynolds > noParabolaAbove),
	}
}

// lawOf is the friction that is told: between Gr/Re 10 and 60 still 64/Re, whose doubt
// the loss coefficient has.
func (d *drag) lawOf(band quantity.Band, re float64) float64 {
	if band == quantity.Laminar {
		return LaminarFriction(re)
	}
	return d.factor
}

// Loss is the coefficient of all losses but tube friction with its standard
// uncertainty. With A = 2gH/v² and B = f·L/D, the energy equation
// H = v²/2g·(α + K + f·L/D) gives
//
//	K = A − α − B.
//
// dA/A = dH/H + 4·dD/D − 2·dQ/Q, because v goes with Q/D²; and with the relative
// slopes m of f to Re and n of f to ε,
// dB/B = m·dRe/Re + n·(dε/ε − dD/D) + dL/L − dD/D. One flow and one bore enter both
// parts, so the sensitivities are added before they are squared.
//
// The parts that every state of one rig shares are kept by themselves, with their
// signs, so that two states can be compared without them.
type Loss struct {
	K    float64
	Flow float64 // m³/s

	meter  float64          // the meter's own error
	shared [sharedN]float64 // what else is the same at every flow
	own    float64          // scatter, lag, and which law of friction holds
}

// The shared parts.
const (
	sharedBore = iota
	sharedHeight
	sharedLength
	sharedWall
	sharedViscosity
	sharedModel
	sharedN
)

func (p *Pipe) loss(d *drag, flow, head float64, in *Inputs, r *relative) Loss {
	v := Velocity(flow, p.bore)
	a := 2 * Gravity * head / (v * v)
	b := d.factor * p.rig.Length.X / p.bore
	perFlow := 2*a + d.slopeRe*r.perFlow*b
	perViscosity := d.slopeRe * b
	l := Loss{K: a - d.alpha - b, Flow: flow, meter: perFlow * uncertainty.Quadrature(r.flow, r.meter)}
	l.shared = [sharedN]float64{
		sharedBore:      (4*a - (d.slopeRe*r.perBore-d.slopeEps-1)*b) * r.bore,
		sharedHeight:    a * uncertainty.Quadrature(in.Level.U, p.rig.Drop.U) / head,
		sharedLength:    b * p.rig.Length.Relative(),
		sharedViscosity: perViscosity * uncertainty.Quadrature(r.formula, r.extra, r.perKelvin*r.warmth, r.perKelvinDye*r.surroundings),
	}
	if d.slopeEps != 0 { // a smooth wall has none, and no relative uncertainty either
		l.shared[sharedWall] = d.slopeEps * b * p.rig.Roughness.Relative()
	}
	lawU := d.frictionU * p.rig.Length.X / p.bore
	if d.stated && d.alphaU == 0 {
		l.shared[sharedModel], lawU = lawU, 0
	}
	l.own = uncertainty.Quadrature(perFlow*r.flowExtra, a*in.Level.OtherU/head, lawU, d.alphaU,
		perViscosity*r.perKelvin*r.warmExtra, perViscosity*r.perKelvinDye*r.onTheWay)
	return l
}

func sq(x float64) float64 { return x * x }

// U is the standard uncertainty of K.
func (l *Loss) U() float64 {
	return uncertainty.Quadrature(l.meter, l.own, uncertainty.Quadrature(l.shared[:]...))
}

// Over is this coefficient over another of the same rig, with the standard uncertainty
// that two states can differ by: bore, length, datum, level sensor, viscosity and their
// like are wrong by the same amount in both and count only as far as that amount weighs
// differently in the two. The meter's relative error is taken as the same at the same
// flow; at another it may differ by as much of itself as the flows do, up to being
// independent (common practice, no source). The ratio is NaN unless both are above 0.
func (l *Loss) Over(base *Loss) uncertainty.Value {
	if !(l.K > 0 && base.K > 0) {
		return uncertainty.Value{X: math.NaN(), U: math.NaN()}
	}
	here, there := l.meter/l.K, base.meter/base.K
	alike := math.Max(0, 1-sq(math.Log(l.Flow/base.Flow))/2)
	sum := here*here + there*there - 2*alike*here*there + sq(l.own/l.K) + sq(base.own/base.K)
	for i := range l.shared {
		sum += sq(l.shared[i]/l.K - base.shared[i]/base.K)
	}
	ratio := l.K / base.K
	return uncertainty.Value{X: ratio, U: ratio * math.Sqrt(math.Max(0, sum))}
}
