package rigsim

import (
	"math"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
)

// tube is the glass tube with its valve.
type tube struct {
	velocity  float64 // m/s, mean over the bore
	opening   float64 // of the valve, 0 to 1
	wanted    float64 // where the hand turns it to
	blockage  float64 // loss coefficient of what is stuck in the tube
	blockedTo float64 // and what it grows to
	torn      float64 // share of the tube that is turbulent now
	bend      float64 // Gr/Re of its laminar part; negative where the room warms the water
}

// valveLoss is the loss coefficient of the valve: equal percentage, so that
// every part of the travel changes the flow by the same ratio.
func valveLoss(opening float64) float64 {
	return valveOpenLoss * math.Pow(valveRange, 2*(1-opening))
}

// openingFor is the opening at which a loss coefficient is met, 0 to 1.
func openingFor(loss float64) float64 {
	if loss <= valveOpenLoss {
		return 1
	}
	return math.Max(0.001, 1-math.Log(loss/valveOpenLoss)/(2*math.Log(valveRange)))
}

// friction is the Darcy friction factor: 64/Re, or Colebrook's
// equation by iteration from Haaland's explicit form (White, Fluid Mechanics,
// 7th ed., eqs 6.48 and 6.49; from memory).
func friction(re, relativeRoughness float64, turbulent bool) float64 {
	if !turbulent {
		return 64 / re
	}
	x := -1.8 * math.Log10(6.9/re+math.Pow(relativeRoughness/3.7, 1.11))
	for range 4 {
		x = -2 * math.Log10(relativeRoughness/3.7+2.51*x/re)
	}
	return 1 / (x * x)
}

// laminar is the friction factor and the kinetic-energy coefficient of a profile
// that Gr/Re bends; beyond the fit's last points nothing is known, and both stay.
func laminar(re, bend float64) (f, alpha float64) {
	bend = math.Max(-bendMost, math.Min(bendMost, bend))
	gradient := 1 + aidedGradient*bend
	if bend < 0 {
		gradient = math.Max(leastGradient, 1+opposedGradient*bend)
	}
	return friction(re, 0, false) * gradient, kinetic(false) * (1 - bentKinetic*bend)
}

// resistance is the friction factor and the kinetic-energy coefficient of what
// fills the tube now: each law on its share of the length, at the same Re.
func (t *tube) resistance(re, relativeRoughness float64) (f, alpha float64) {
	f, alpha = laminar(re, t.bend)
	if t.torn > 0 {
		f += t.torn * (friction(re, relativeRoughness, true) - f)
		alpha += t.torn * (kinetic(true) - alpha)
	}
	return f, alpha
}

// step moves the hand and the flow; nu is the water's in the middle of the tube.
func (t *tube) step(dt float64, g geometry, level, nu float64) {
	t.opening += math.Max(-valveSlew*dt, math.Min(valveSlew*dt, t.wanted-t.opening))
	t.blockage += math.Min(blockageGrowth*dt, t.blockedTo-t.blockage)
	t.velocity = t.solve(g, level, nu)
}

// blockageGrowth is how fast a blockage builds up, loss coefficient a second.
const blockageGrowth = 40.0

// solve finds the velocity from H = v²/2g·(α + K + f·L/D). The valve's loss
// outweighs the friction by far, so a few rounds from the last velocity do.
func (t *tube) solve(g geometry, level, nu float64) float64 {
	if t.opening <= 0 || level <= 0 {
		return 0
	}
	head, loss := level+g.drop, t.loss()
	v := t.velocity
	if v <= 0 {
		v = math.Sqrt(2 * gravity * head / (2 + loss))
	}
	for range 3 {
		f, alpha := t.resistance(v*g.bore/nu, g.roughness/g.bore)
		v = math.Sqrt(2 * gravity * head / (alpha + loss + f*g.length/g.bore))
	}
	return v * math.Min(1, level/airAt)
}

// loss is the coefficient of all losses but the friction of the tube.
func (t *tube) loss() float64 { return entranceLoss + valveLoss(t.opening) + t.blockage }

// kinetic is the kinetic-energy coefficient α: 2 for the laminar profile,
// 1.06 for the turbulent one (a profile of u ~ y^(1/7) gives 1.058, computed).
func kinetic(turbulent bool) float64 {
	if turbulent {
		return 1.06
	}
	return 2
}

func (g geometry) area() float64 { return math.Pi / 4 * g.bore * g.bore }

// viscosityAt is the kinematic viscosity, m²/s; the water of the model stays
// liquid, so the ends of the liquid range stand for what lies beyond.
func viscosityAt(celsius float64) float64 { return waterAt(celsius).KinematicViscosity }

func waterAt(celsius float64) water.Properties {
	p, err := water.At(math.Max(water.Freezing, math.Min(water.BoilingHere, celsius)))
	if err != nil {
		return water.Properties{KinematicViscosity: math.NaN(), Density: math.NaN(), DynamicViscosity: math.NaN()}
	}
	return p
}

// bandOf is the regime by Reynolds number alone.
func bandOf(re float64) quantity.Band {
	switch {
	case re <= 0:
		return quantity.NoFlow
	case re < laminarBelow:
		return quantity.Laminar
	case re <= turbulentAbove:
		return quantity.Transitional
	}
	return quantity.Turbulent
}

// entranceLength is where the flow is developed, m: 0.06·Re·D laminar,
// 4.4·Re^(1/6)·D turbulent (White, Fluid Mechanics, chapter 6, up to the 6th
// edition).
func entranceLength(re, bore float64, turbulent bool) float64 {
	if turbulent {
		return 4.4 * math.Pow(re, 1.0/6) * bore
	}
	return 0.06 * re * bore
}
