package pipe

import (
	"math"

	"flowrigd/calc/quantity"
)

// friction is a Darcy friction factor with its relative slopes, which the
// uncertainty of the loss coefficient needs.
type friction struct {
	factor   float64
	slopeRe  float64 // dln f / dln Re
	slopeEps float64 // dln f / dln ε
}

// LaminarFriction is the Darcy friction factor of developed laminar flow,
// 64/Re (Hagen and Poiseuille; Fanning's factor is a quarter of it).
func LaminarFriction(re float64) float64 { return 64 / re }

// Colebrook is the Darcy friction factor of turbulent flow at a Reynolds number and a
// roughness relative to the bore; NaN where the iteration does not settle.
func Colebrook(re, relativeRoughness float64) float64 { return colebrook(re, relativeRoughness).factor }

// colebrook is the Darcy friction factor of turbulent flow in a round tube
// after Colebrook (J. Inst. Civ. Eng. 11 (1939) 133, from memory),
//
//	1/√f = −2·log₁₀(ε/D/3.7 + 2.51/(Re·√f)),
//
// solved to 1e-12 relative, for Re above 0 and relative roughness ε/D from 0 to
// 0.05; NaN for others. The equation itself is trusted to a few percent of f.
func colebrook(re, relativeRoughness float64) friction {
	if !(re > 0 && relativeRoughness >= 0 && relativeRoughness <= 0.05) || math.IsInf(re, 0) {
		nan := math.NaN()
		return friction{nan, nan, nan}
	}
	const c = 2 / math.Ln10
	wall, wet := relativeRoughness/3.7, 2.51/re
	// x = 1/√f; the equation is concave, so that Newton comes nearer from below
	// with each step. It begins where a step from the logarithm's zero leads.
	x := c * (1 - wall) / (1 + c*wet)
	for range 20 {
		step := (x + c*math.Log(wall+wet*x)) / (1 + c*wet/(wall+wet*x))
		x -= step
		if math.Abs(step) <= 1e-9*x {
			break
		}
	}
	s := wall + wet*x
	k := c * wet / s
	return friction{
		factor:   1 / (x * x),
		slopeRe:  -2 * k / (1 + k),
		slopeEps: 2 * c * wall / (s * x * (1 + k)),
	}
}

// EntranceLength is the length in which the flow develops, in metres for a bore
// in metres: 0.06·Re·D when laminar, 4.4·Re^(1/6)·D when turbulent (White,
// Fluid Mechanics, chapter 6, eq. 6.6 up to the 6th edition; the 7th of 2011
// prints 1.6·Re^(1/4)·D for turbulent flow; the editions are from memory), NaN in
// any other band.
func EntranceLength(band quantity.Band, re, bore float64) float64 {
	switch band {
	case quantity.Laminar:
		return 0.06 * re * bore
	case quantity.Turbulent:
		return 4.4 * math.Sqrt(math.Cbrt(re)) * bore
	}
	return math.NaN()
}

// WallShear is the mean shear stress at the wall in pascals, f·ρ·v²/8, from a
// Darcy friction factor, a density in kg/m³ and a velocity in m/s.
func WallShear(darcy, density, velocity float64) float64 {
	return darcy * density * velocity * velocity / 8
}
