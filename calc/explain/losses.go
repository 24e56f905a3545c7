package explain

import (
	"math"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
)

func (a *Answer) writeFriction(p *paper) {
	re := a.value(quantity.Reynolds)
	p.heading("Friction and entrance length")
	switch a.Set.Band() {
	case quantity.Laminar:
		if _, told := a.Set.Get(quantity.FrictionFactor); !told {
			p.prose("No friction factor and no entrance length: %s.", a.tube.Profile)
			return
		}
		p.line("f  = 64 / Re = 64 / %s = %s  (Darcy)", num(re, 5), num(a.value(quantity.FrictionFactor), 4))
		p.line("Le = 0.06·Re·D = 0.06 × %s × %s = %s m", num(re, 5), num(a.reading.Bore.X, 6), num(a.value(quantity.EntranceLength), 4))
	case quantity.Turbulent:
		a.writeColebrook(p)
		p.line("Le = 4.4·Re^(1/6)·D = 4.4 × %s × %s = %s m", num(math.Pow(re, 1./6), 5), num(a.reading.Bore.X, 6), num(a.value(quantity.EntranceLength), 4))
	default:
		p.prose("Between the limits the flow changes to and fro; no friction factor and no entrance length hold.")
		return
	}
	a.writeDeveloped(p)
}

func (a *Answer) writeColebrook(p *paper) {
	re, f, wall := a.value(quantity.Reynolds), a.value(quantity.FrictionFactor), a.wall().X
	if !a.reading.Roughness.IsGiven() {
		p.prose("No roughness was given: drawn glass, ε = 0.0015 mm ± 0.0015 mm, is taken (common practice, no source).")
	}
	p.line("1/√f = −2·log₁₀(ε/D/3.7 + 2.51/(Re·√f)), solved for f = %s  (Darcy)", num(f, 5))
	p.line("  left side  1/√f = %s", num(1/math.Sqrt(f), 6))
	p.line("  right side −2·log₁₀(%s + %s) = %s", num(wall/a.reading.Bore.X/3.7, 4), num(2.51/(re*math.Sqrt(f)), 4),
		num(-2*math.Log10(wall/a.reading.Bore.X/3.7+2.51/(re*math.Sqrt(f))), 6))
}

func (a *Answer) writeDeveloped(p *paper) {
	developed, known := a.Set.Get(quantity.Developed)
	switch {
	case !known:
		p.prose("No length was given (--length), so it is open whether the flow develops within the tube.")
	case developed != 0:
		p.line("The tube of %s m is longer than Le: the flow is developed at its end.", num(a.reading.Length.X, 4))
	default:
		p.line("The tube of %s m is not longer than Le: the flow is still developing, f is higher.", num(a.reading.Length.X, 4))
	}
}

// writeHead is the energy equation, where head and length were given.
func (a *Answer) writeHead(p *paper) {
	if !a.reading.Head.IsGiven() {
		return
	}
	p.heading("Where the head goes")
	k, known := a.Set.Get(quantity.LossCoefficient)
	if !known {
		p.prose("The loss coefficient needs the friction of the tube, and that a length (--length).")
		return
	}
	alpha, f := a.alpha.X, a.friction.X
	v, d, length := a.value(quantity.Velocity), a.reading.Bore.X, a.reading.Length.X
	if a.alpha.U > 0 {
		p.prose("No one law of friction holds here, so that f and α are taken as the middle of what they lie between: f = %s ± %s, α = %s ± %s, limits taken as rectangular.",
			num(f, 4), num(a.friction.U*math.Sqrt(3), 3), num(alpha, 3), num(a.alpha.U*math.Sqrt(3), 2))
	}
	dynamic := v * v / (2 * pipe.Gravity)
	p.line("H = v²/2g · (α + K + f·L/D), with g = 9.80665 m/s² and α = %s for this profile", num(alpha, 3))
	p.line("v²/2g = (%s)² / (2 × 9.80665) = %s m", num(v, 5), num(dynamic, 5))
	p.line("f·L/D = %s × %s / %s = %s, a head of %s m", num(f, 5), num(length, 5), num(d, 5), num(f*length/d, 5), num(f*length/d*dynamic, 4))
	p.line("K     = %s / %s − %s − %s = %s", num(a.reading.Head.X, 5), num(dynamic, 5), num(alpha, 3), num(f*length/d, 5), num(k, 5))
	u, known := a.Set.Get(quantity.LossCoefficientUncertainty)
	if !known {
		p.prose("Its uncertainty is unknown: flow, bore, temperature, length and head (and roughness) need a ± for it.")
		return
	}
	p.line("K     = %s (k = 2): entrance, valve, bends and outlet together", WithUncertainty(k, u))
}
