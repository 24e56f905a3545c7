package pipe

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
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

// relative are the relative standard uncertainties of what makes up Re.
type relative struct {
	flow, flowExtra    float64
	bore, formula      float64
	warmth, warmExtra  float64 // through the viscosity
	logCurvatureOfWarm float64 // second-order shift of ln ν
}

func (p *Pipe) relative(in Inputs, w *water.Properties) relative {
	t := in.Temperature
	u := t.StandardU()
	return relative{
		flow:               in.Flow.U / in.Flow.X,
		flowExtra:          in.Flow.OtherU / in.Flow.X,
		bore:               p.relativeBoreU,
		formula:            w.KinematicU / w.KinematicViscosity,
		warmth:             w.DLnNuDT * t.U,
		warmExtra:          w.DLnNuDT * t.OtherU,
		logCurvatureOfWarm: w.D2LnNuDT2 * u * u / 2,
	}
}

// standardU is the relative standard uncertainty of Re by JCGM 100:2008, 5.1.6,
// equation 12:
//
//	(u/Re)² = (uQ/Q)² + (uD/D)² + (uν/ν)² + (dlnν/dT·uT)²
//
// One temperature enters density and viscosity; dlnν/dT carries both.
func (r *relative) standardU() float64 {
	return math.Sqrt(r.flow*r.flow + r.flowExtra*r.flowExtra + r.bore*r.bore +
		r.formula*r.formula + r.warmth*r.warmth + r.warmExtra*r.warmExtra)
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
	sum.Add(math.Log(re)-q2/2+d2/2-r.logCurvatureOfWarm, r.flowExtra, uncertainty.Normal)
	sum.Add(0, r.warmExtra, uncertainty.Normal)
	sum.Add(0, r.formula, uncertainty.Normal)
	sum.Add(0, r.flow, shape[0])
	sum.Add(0, r.warmth, shape[1])
	sum.Add(0, r.bore, p.rig.Bore.Shape)
	underLower, underUpper := sum.Below(p.logLaminar), sum.Below(p.logTurbulent)
	return underLower, math.Max(0, underUpper-underLower), 1 - math.Max(underLower, underUpper)
}

// Budget lists the contributions to the standard uncertainty of the Reynolds
// number, for people. It is empty where the Reynolds number is unknown.
func (p *Pipe) Budget(in Inputs) []uncertainty.Contribution {
	if !p.flowing(in.Flow) || !in.Temperature.usable() {
		return nil
	}
	w, err := water.At(in.Temperature.X)
	if err != nil {
		return nil
	}
	re := Reynolds(in.Flow.X, p.bore, w.KinematicViscosity)
	perKelvin := -re * w.DLnNuDT
	rows := []uncertainty.Contribution{
		{Name: "flow", X: in.Flow.X, U: in.Flow.U, Sensitivity: re / in.Flow.X},
		{Name: "flow, further", X: in.Flow.X, U: in.Flow.OtherU, Sensitivity: re / in.Flow.X},
		{Name: "bore", X: p.bore, U: p.rig.Bore.U, Sensitivity: -re / p.bore},
		{Name: "temperature", X: in.Temperature.X, U: in.Temperature.U, Sensitivity: perKelvin},
		{Name: "temperature, further", X: in.Temperature.X, U: in.Temperature.OtherU, Sensitivity: perKelvin},
		{Name: "viscosity formula", X: w.KinematicViscosity, U: w.KinematicU, Sensitivity: -re / w.KinematicViscosity},
	}
	return withoutZeros(rows)
}

// withoutZeros drops the optional rows that nobody gave.
func withoutZeros(rows []uncertainty.Contribution) []uncertainty.Contribution {
	kept := rows[:0]
	for _, row := range rows {
		if row.U != 0 {
			kept = append(kept, row)
		}
	}
	return kept
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
