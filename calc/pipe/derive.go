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
}

// Derive computes every derived row that needs no history and writes it to s;
// what cannot be known becomes unknown. The regime is the plain comparison with
// the limits. It allocates nothing and keeps nothing.
func (p *Pipe) Derive(in Inputs, s *quantity.Set) Result {
	for _, id := range derivedRows {
		s.Clear(id)
	}
	result := Result{Richardson: math.NaN(), Cooling: math.NaN(), WallShear: math.NaN()}
	if in.Level.usable() {
		s.Put(quantity.Head, in.Level.X+p.rig.Drop.X)
		result.U.Put(quantity.Head, p.headU(in))
	}
	var w water.Properties
	liquid := in.Temperature.usable()
	if liquid {
		liquid = p.deriveWater(in.Temperature, &w, s, &result)
	}
	if in.Flow.usable() {
		p.deriveFlow(in, &w, liquid, s, &result)
	}
	return result
}

func (p *Pipe) deriveWater(t Input, w *water.Properties, s *quantity.Set, result *Result) bool {
	// Asked before At, whose error would be allocated at every state.
	if !water.Liquid(t.X) {
		result.Warnings |= NotLiquid
		return false
	}
	*w, _ = water.At(t.X)
	s.Put(quantity.Density, w.Density)
	s.Put(quantity.DynamicViscosity, w.DynamicViscosity)
	s.Put(quantity.KinematicViscosity, w.KinematicViscosity)
	s.Put(quantity.LaminarLimitFlow, LimitFlow(p.rig.LaminarBelow, p.bore, w.KinematicViscosity))
	s.Put(quantity.TurbulentLimitFlow, LimitFlow(p.rig.TurbulentAbove, p.bore, w.KinematicViscosity))
	p.waterU(t.StandardU(), w, s, &result.U)
	return true
}

// flowing reports whether the meter shows a flow within its range.
func (p *Pipe) flowing(flow Input) bool {
	return flow.usable() && flow.X > 0 && flow.X >= p.rig.FlowMin
}

func (p *Pipe) deriveFlow(in Inputs, w *water.Properties, liquid bool, s *quantity.Set, result *Result) {
	s.Put(quantity.Velocity, Velocity(in.Flow.X, p.bore))
	result.U.Put(quantity.Velocity, math.Hypot(Velocity(in.Flow.StandardU(), p.bore), 2*Velocity(in.Flow.X, p.bore)*p.relativeBoreU))
	switch {
	case in.Flow.X < 0 && -in.Flow.X >= p.rig.FlowMin:
		result.Warnings |= ReverseFlow
	case !p.flowing(in.Flow):
		s.Put(quantity.Regime, float64(quantity.NoFlow))
	case liquid:
		p.deriveReynolds(in, w, s, result)
	}
}

func (p *Pipe) deriveReynolds(in Inputs, w *water.Properties, s *quantity.Set, result *Result) {
	re := Reynolds(in.Flow.X, p.bore, w.KinematicViscosity)
	r := p.relative(in, w)
	band := p.band(re)
	s.Put(quantity.Reynolds, re)
	s.Put(quantity.ReynoldsUncertainty, 2*re*r.standardU())
	result.U.Put(quantity.Reynolds, re*r.standardU())
	s.Put(quantity.Regime, float64(band))
	below, between, above := p.probabilities(re, [2]uncertainty.Shape{in.Flow.Shape, in.Temperature.Shape}, &r)
	s.Put(quantity.ProbabilityBelow, below)
	s.Put(quantity.ProbabilityBetween, between)
	s.Put(quantity.ProbabilityAbove, above)
	p.deriveBuoyancy(in, w, result)
	if band != quantity.Transitional {
		p.deriveLosses(in, band, re, &r, w, s, result)
	}
}

func (p *Pipe) headU(in Inputs) float64 { return math.Hypot(in.Level.StandardU(), p.rig.Drop.U) }

// waterU states what follows from the temperature's standard uncertainty. That of
// the formula for the viscosity is taken for both viscosities; the formula for the
// density is good to 1e-6 and adds nothing.
func (p *Pipe) waterU(uT float64, w *water.Properties, s, u *quantity.Set) {
	density := math.Abs(w.Expansion) * uT
	kinematic := math.Hypot(w.KinematicU/w.KinematicViscosity, w.DLnNuDT*uT)
	dynamic := math.Hypot(w.KinematicU/w.KinematicViscosity, (w.DLnNuDT-w.Expansion)*uT)
	limits := math.Hypot(kinematic, p.relativeBoreU)
	for _, r := range [...]struct {
		id       quantity.ID
		relative float64
	}{
		{quantity.Density, density}, {quantity.KinematicViscosity, kinematic}, {quantity.DynamicViscosity, dynamic},
		{quantity.LaminarLimitFlow, limits}, {quantity.TurbulentLimitFlow, limits},
	} {
		v, _ := s.Get(r.id)
		u.Put(r.id, v*r.relative)
	}
}

func (p *Pipe) deriveLosses(in Inputs, band quantity.Band, re float64, r *relative, w *water.Properties, s *quantity.Set, result *Result) {
	f := frictionIn(band, re, p.relativeWall)
	s.Put(quantity.FrictionFactor, f.factor)
	velocity := Velocity(in.Flow.X, p.bore)
	result.WallShear = WallShear(f.factor, w.Density, velocity)
	entrance := EntranceLength(band, re, p.bore)
	s.Put(quantity.EntranceLength, entrance)
	s.PutBool(quantity.Developed, p.rig.Length.X > entrance)
	if p.rig.Length.X <= entrance {
		result.Warnings |= NotDeveloped
	}
	head, known := s.Get(quantity.Head)
	if !known || head <= 0 {
		return
	}
	k := p.loss(band, f, velocity, head, p.headU(in), r)
	s.Put(quantity.LossCoefficient, k.k)
	s.Put(quantity.LossCoefficientUncertainty, 2*k.u)
	result.U.Put(quantity.LossCoefficient, k.u)
	// Written so that a coefficient whose uncertainty is unknown warns below 0.
	if k.k < 0 && !(k.k >= -2*k.u) {
		result.Warnings |= NegativeLoss
	}
}

func (p *Pipe) deriveBuoyancy(in Inputs, w *water.Properties, result *Result) {
	if !in.Ambient.usable() {
		return
	}
	difference := WallDifference(w, p.bore, in.Temperature.X, in.Ambient.X)
	result.Richardson = Richardson(p.rig.Orientation, w.Expansion, difference, p.bore, Velocity(in.Flow.X, p.bore))
	result.Cooling = Cooling(w, p.bore, p.rig.Length.X, in.Flow.X, in.Temperature.X, in.Ambient.X)
	if math.Abs(result.Richardson) > mixedAbove {
		result.Warnings |= MixedConvection
	}
}
