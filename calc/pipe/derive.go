package pipe

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// derivedRows are the rows that Derive writes.
var derivedRows = [...]quantity.ID{
	quantity.Density, quantity.DynamicViscosity, quantity.KinematicViscosity, quantity.Velocity,
	quantity.Reynolds, quantity.ReynoldsUncertainty, quantity.Regime,
	quantity.ProbabilityBelow, quantity.ProbabilityBetween, quantity.ProbabilityAbove,
	quantity.FrictionFactor, quantity.EntranceLength, quantity.Developed, quantity.Head,
	quantity.LossCoefficient, quantity.LossCoefficientUncertainty,
	quantity.LaminarLimitFlow, quantity.TurbulentLimitFlow,
	quantity.TubeTemperature, quantity.TubeTemperatureFall, quantity.GrashofReynoldsRatio,
}

// Derive computes every derived row that needs no history and writes it to s;
// what cannot be known becomes unknown. The regime is the plain comparison with
// the limits. It allocates nothing and keeps nothing.
func (p *Pipe) Derive(in Inputs, s *quantity.Set) Result {
	for _, id := range derivedRows {
		s.Clear(id)
	}
	nan := math.NaN()
	result := Result{
		Tube: unknownTube(), Friction: uncertainty.Value{X: nan, U: nan}, Alpha: uncertainty.Value{X: nan, U: nan},
		WallShear: nan, Settling: nan,
	}
	if in.Level.usable() {
		s.Put(quantity.Head, in.Level.X+p.rig.Drop.X)
		result.U.Put(quantity.Head, p.headU(&in))
	}
	inlet, liquid := p.inlet(in.Temperature)
	if in.Temperature.usable() && !liquid {
		result.Warnings |= NotLiquid
	}
	if !in.Flow.usable() || !liquid || !p.flowing(in.Flow) {
		if liquid {
			p.putWater(&inlet, in.Temperature.StandardU(), s, &result.U)
		}
		p.putStill(&in, s, &result)
		return result
	}
	d := p.atDye(&in, &inlet)
	if !d.liquid {
		result.Warnings |= NotLiquid
		return result
	}
	p.deriveFlow(&in, &d, s, &result)
	return result
}

// flowing reports whether the meter shows a flow within its range.
func (p *Pipe) flowing(flow Input) bool {
	return flow.usable() && flow.X > 0 && flow.X >= p.rig.FlowMin
}

// putStill is what is known of a flow that gives no Reynolds number.
func (p *Pipe) putStill(in *Inputs, s *quantity.Set, result *Result) {
	switch {
	case !in.Flow.usable():
		return
	case in.Flow.X < 0 && -in.Flow.X >= p.rig.FlowMin:
		result.Warnings |= ReverseFlow
	case !p.flowing(in.Flow):
		s.Put(quantity.Regime, float64(quantity.NoFlow))
	}
	p.putVelocity(in.Flow.X, in.Flow.StandardU(), s, result)
}

func (p *Pipe) putVelocity(flow, u float64, s *quantity.Set, result *Result) {
	v := Velocity(flow, p.bore)
	s.Put(quantity.Velocity, v)
	result.U.Put(quantity.Velocity, uncertainty.Quadrature(Velocity(u, p.bore), 2*v*p.relativeBoreU))
}

// putWater writes the properties and the flows to set. What follows from the standard
// uncertainty of the temperature in kelvin stands beside them. That of the formula for
// the viscosity is taken for both viscosities, and so is what hardness and dye may add;
// the formula for the density is good to 1e-6 and adds nothing.
func (p *Pipe) putWater(w *water.Properties, uT float64, s, u *quantity.Set) {
	own := uncertainty.Quadrature(w.KinematicU/w.KinematicViscosity, p.rig.ViscosityExtra.U)
	kinematic := uncertainty.Quadrature(own, w.DLnNuDT*uT)
	limits := uncertainty.Quadrature(kinematic, p.relativeBoreU)
	for _, r := range [...]struct {
		id              quantity.ID
		value, relative float64
	}{
		{quantity.Density, w.Density, math.Abs(w.Expansion) * uT},
		{quantity.DynamicViscosity, w.DynamicViscosity, uncertainty.Quadrature(own, (w.DLnNuDT-w.Expansion)*uT)},
		{quantity.KinematicViscosity, w.KinematicViscosity, kinematic},
		{quantity.LaminarLimitFlow, LimitFlow(p.rig.LaminarBelow, p.bore, w.KinematicViscosity), limits},
		{quantity.TurbulentLimitFlow, LimitFlow(p.rig.TurbulentAbove, p.bore, w.KinematicViscosity), limits},
	} {
		s.Put(r.id, r.value)
		u.Put(r.id, r.value*r.relative)
	}
}

func (p *Pipe) deriveFlow(in *Inputs, d *atDye, s *quantity.Set, result *Result) {
	p.putTube(&d.tube, s, result)
	uT := uncertainty.Quadrature(in.Temperature.StandardU(), in.OnTheWay.U)
	if !math.IsNaN(d.tube.Celsius) {
		uT = d.tube.CelsiusU
	}
	p.putWater(&d.water, uT, s, &result.U)
	r := p.relative(in, d)
	p.putVelocity(d.flow, d.flow*uncertainty.Quadrature(r.flow, r.flowExtra, r.meter), s, result)
	result.Settling = p.Settling(d.flow, d.water.KinematicViscosity)
	re := Reynolds(d.flow, p.bore, d.water.KinematicViscosity)
	band := p.band(re)
	s.Put(quantity.Reynolds, re)
	s.Put(quantity.ReynoldsUncertainty, 2*re*r.standardU())
	result.U.Put(quantity.Reynolds, re*r.standardU())
	s.Put(quantity.Regime, float64(band))
	below, between, above := p.probabilities(re, [2]uncertainty.Shape{in.Flow.Shape, in.Temperature.Shape}, &r)
	s.Put(quantity.ProbabilityBelow, below)
	s.Put(quantity.ProbabilityBetween, between)
	s.Put(quantity.ProbabilityAbove, above)
	p.deriveLosses(in, d, band, re, &r, s, result)
}

func (p *Pipe) putTube(t *Tube, s *quantity.Set, result *Result) {
	result.Tube = *t
	result.Warnings |= t.Profile.Warning()
	s.Put(quantity.TubeTemperature, t.Celsius)
	s.Put(quantity.TubeTemperatureFall, t.Fall)
	s.Put(quantity.GrashofReynoldsRatio, t.GrashofReynolds)
	result.U.Put(quantity.TubeTemperature, t.CelsiusU)
	result.U.Put(quantity.TubeTemperatureFall, t.FallU)
}

func (p *Pipe) headU(in *Inputs) float64 {
	return uncertainty.Quadrature(in.Level.StandardU(), p.rig.Drop.U)
}

// developedPart is the part of the entrance length from which on a shorter tube is
// worth a warning. At half of 0.06·Re·D the middle of a laminar profile is some 5 %
// below its final velocity (from memory); a tube between that and the whole is said
// not to be developed, and no more.
const developedPart = 0.5

func (p *Pipe) deriveLosses(in *Inputs, d *atDye, band quantity.Band, re float64, r *relative, s *quantity.Set, result *Result) {
	own := p.drag(band, re, &d.tube)
	result.Friction = uncertainty.Value{X: own.factor, U: own.frictionU}
	result.Alpha = uncertainty.Value{X: own.alpha, U: own.alphaU}
	switch {
	case own.stated:
		s.Put(quantity.FrictionFactor, own.lawOf(band, re))
		result.WallShear = WallShear(own.lawOf(band, re), d.water.Density, Velocity(d.flow, p.bore))
		p.putEntrance(band, re, s, result)
	case band == quantity.Transitional:
		result.Warnings |= BetweenLimits
	}
	head, known := s.Get(quantity.Head)
	if !known || head <= 0 {
		return
	}
	result.Loss = p.loss(&own, d.flow, head, in, r)
	k, u := result.Loss.K, result.Loss.U()
	s.Put(quantity.LossCoefficient, k)
	s.Put(quantity.LossCoefficientUncertainty, 2*u)
	result.U.Put(quantity.LossCoefficient, u)
	// Written so that a coefficient whose uncertainty is unknown warns below 0.
	if k < 0 && !(k >= -2*u) {
		result.Warnings |= NegativeLoss
	}
}

func (p *Pipe) putEntrance(band quantity.Band, re float64, s *quantity.Set, result *Result) {
	entrance := EntranceLength(band, re, p.bore)
	s.Put(quantity.EntranceLength, entrance)
	s.PutBool(quantity.Developed, p.rig.Length.X > entrance)
	if p.rig.Length.X <= developedPart*entrance {
		result.Warnings |= NotDeveloped
	}
}
