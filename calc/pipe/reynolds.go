package pipe

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Reynolds is the Reynolds number 4Q/(πDν) of a volume flow in m³/s through a
// bore in metres at a kinematic viscosity in m²/s.
func Reynolds(flow, bore, kinematicViscosity float64) float64 {
	return 4 * flow / (math.Pi * bore * kinematicViscosity)
}

// LimitFlow is the volume flow in m³/s at which the Reynolds number has a value.
func LimitFlow(re, bore, kinematicViscosity float64) float64 {
	return re * math.Pi * bore * kinematicViscosity / 4
}

// Velocity is the mean velocity in m/s of a volume flow in m³/s through a bore
// in metres.
func Velocity(flow, bore float64) float64 { return 4 * flow / (math.Pi * bore * bore) }

// band compares a Reynolds number with the two limits; on a limit it is
// transitional.
func (p *Pipe) band(re float64) quantity.Band {
	switch {
	case re < p.rig.LaminarBelow:
		return quantity.Laminar
	case re > p.rig.TurbulentAbove:
		return quantity.Turbulent
	}
	return quantity.Transitional
}

// relative is what makes up the uncertainty of Re: relative standard uncertainties,
// those of temperatures in kelvin, and the slopes of ln Re. Inlet, flow and bore also
// change the heat lost on the way, so their slopes hold both.
type relative struct {
	flow, flowExtra         float64 // of the meter's reading
	meter                   float64 // through the density of the water in the meter
	bore, formula, extra    float64
	warmth, warmExtra       float64 // K, of the inlet
	surroundings, onTheWay  float64 // K, of the fall on its own and of the time on the way
	perFlow, perBore        float64 // dln Re/dln Q, dln Re/dln D
	perKelvin, perKelvinDye float64 // 1/K, of the inlet's temperature and of the dye's
	logCurvatureOfWarm      float64 // second-order shift of ln ν
}

func (p *Pipe) relative(in *Inputs, d *atDye) relative {
	t, slope := in.Temperature, d.water.DLnNuDT
	u := t.StandardU()
	return relative{
		flow:               in.Flow.U / in.Flow.X,
		flowExtra:          in.Flow.OtherU / in.Flow.X,
		meter:              d.meterU,
		bore:               p.relativeBoreU,
		formula:            d.water.KinematicU / d.water.KinematicViscosity,
		extra:              p.rig.ViscosityExtra.U,
		warmth:             t.U,
		warmExtra:          t.OtherU,
		surroundings:       d.ownU,
		onTheWay:           in.OnTheWay.U,
		perFlow:            1 + slope*d.fall.Flow,
		perBore:            -1 + slope*d.fall.Bore,
		perKelvin:          -slope * (1 - d.fall.Celsius),
		perKelvinDye:       -slope,
		logCurvatureOfWarm: d.water.D2LnNuDT2 * u * u / 2,
	}
}

// standardU is the relative standard uncertainty of Re by JCGM 100:2008, 5.1.2,
// equation 10, which without heat lost is that of 5.1.6, equation 12:
//
//	(u/Re)² = (uQ/Q)² + (uD/D)² + (uν/ν)² + (dlnν/dT·uT)²
//
// One temperature enters density and viscosity; dlnν/dT carries both.
func (r *relative) standardU() float64 {
	flow, bore := r.perFlow*uncertainty.Quadrature(r.flow, r.flowExtra, r.meter), r.perBore*r.bore
	return uncertainty.Quadrature(flow, bore, r.viscosityU())
}

// viscosityU is the relative standard uncertainty of the viscosity at the dye, but for
// what flow and bore do to it.
func (r *relative) viscosityU() float64 {
	inlet := r.perKelvin * uncertainty.Quadrature(r.warmth, r.warmExtra)
	way := r.perKelvinDye * uncertainty.Quadrature(r.surroundings, r.onTheWay)
	return uncertainty.Quadrature(r.formula, r.extra, inlet, way)
}

// probabilities of the three bands for a Reynolds number, from the
// distributions of the inputs: ln Re is a sum of the logarithms of flow, bore
// and viscosity, each taken as linear in its input with the second-order shift
// of its mean. Against a simulation with the same distributions, 5 to 65 °C, Re
// 600 to 9000, several makers' limits at once, up to 5 % in flow and 2.5 K in
// temperature, the largest deviation measured is 0.004 (TestAgainstSimulation
// holds 0.01). Where one input is far wider than the others it is more: see
// ProbabilityDoubt.
func (p *Pipe) probabilities(re float64, shape [2]uncertainty.Shape, r *relative) (below, between, above float64) {
	q2, d2 := r.flow*r.flow+r.flowExtra*r.flowExtra, r.bore*r.bore
	var sum uncertainty.Sum
	sum.Add(math.Log(re)-q2/2+d2/2-r.logCurvatureOfWarm, r.perFlow*uncertainty.Quadrature(r.flowExtra, r.meter), uncertainty.Normal)
	sum.Add(0, r.perKelvin*r.warmExtra, uncertainty.Normal)
	sum.Add(0, r.perKelvinDye*uncertainty.Quadrature(r.surroundings, r.onTheWay), uncertainty.Normal)
	sum.Add(0, r.formula, uncertainty.Normal)
	sum.Add(0, r.extra, p.rig.ViscosityExtra.Shape)
	sum.Add(0, r.perFlow*r.flow, shape[0])
	sum.Add(0, r.perKelvin*r.warmth, shape[1])
	sum.Add(0, r.perBore*r.bore, p.rig.Bore.Shape)
	underLower, underUpper := sum.Below(p.logLaminar), sum.Below(p.logTurbulent)
	return underLower, math.Max(0, underUpper-underLower), 1 - math.Max(underLower, underUpper)
}

// ProbabilityDoubt is by how much the probability of a band may be wrong, from
// the expanded uncertainty of Re (k = 2) as a part of Re: a logarithm taken as
// linear in its input is the less true the wider the input. It is what a
// simulation with the same distributions found at most, rounded up, with one
// of flow, bore and temperature up to ±50 % or ±20 K wide: 0.0075 up to 6 %,
// 0.015 up to 12 %, 0.032 up to 25 %, 0.049 up to 35 %, 0.074 up to 50 %, 0.113
// at 58 % (TestProbabilityDoubt).
func ProbabilityDoubt(relativeExpanded float64) float64 {
	for _, step := range [...]struct{ upTo, doubt float64 }{{0.06, 0.01}, {0.12, 0.02}, {0.25, 0.04}, {0.35, 0.06}, {0.5, 0.09}} {
		if relativeExpanded <= step.upTo {
			return step.doubt
		}
	}
	return 0.12
}
