package explain

import (
	"math"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Working is the whole working in plain text, no line longer than 100
// characters.
func (a *Answer) Working() string {
	var p paper
	p.text.WriteString("The Reynolds number of water in a round tube, step by step\n")
	a.writeGiven(&p)
	a.writeFlow(&p)
	a.writeHeat(&p)
	a.writeWater(&p)
	a.writeReynolds(&p)
	a.writeBudget(&p)
	a.writeVerdict(&p)
	a.writeFriction(&p)
	a.writeHead(&p)
	a.writeLimits(&p)
	a.writeBeside(&p)
	a.writeCautions(&p)
	a.writeSources(&p)
	return p.text.String()
}

// writeGiven shows each quantity on its way to SI units.
func (a *Answer) writeGiven(p *paper) {
	r := a.reading
	p.heading("What was given, in SI units")
	for _, q := range []struct {
		name, symbol, unit, spread string
		given                      Given
	}{
		{"flow", "Q", "m³/s", "m³/s", r.Flow}, {"volume", "V", "m³", "m³", r.Volume}, {"time", "t", "s", "s", r.Time},
		{"temperature", "T", "°C", "K", r.Temperature}, {"bore", "D", "m", "m", r.Bore},
		{"length", "L", "m", "m", r.Length}, {"ambient", "Ta", "°C", "K", r.Ambient}, {"outer", "Do", "m", "m", r.Outer},
		{"watched at", "x", "m", "m", r.WatchedAt}, {"vessel at", "Tv", "°C", "K", r.VesselTemperature}, {"roughness", "ε", "m", "m", r.Roughness}, {"head", "H", "m", "m", r.Head},
	} {
		if q.given.IsGiven() {
			p.line("%-12s %s = %s", q.name, q.symbol, q.given.Text)
			p.line("%-12s   = %s %s", "", conversion(q.given), q.unit)
			p.line("%-12s %s", "", spread(q.given.Value, q.spread))
		}
	}
}

// conversion writes number × factor + offset = value.
func conversion(g Given) string {
	result := num(g.X, 8)
	if g.Factor == 1 && g.Offset == 0 {
		return result
	}
	text := g.Number
	if g.Factor != 1 {
		text += " × " + num(g.Factor, 6)
	}
	switch {
	case g.Offset < 0:
		text += " − " + num(-g.Offset, 6)
	case g.Offset > 0:
		text += " + " + num(g.Offset, 6)
	}
	return text + " = " + result
}

// spread says what standard uncertainty a ± has become.
func spread(v uncertainty.Value, unit string) string {
	switch {
	case math.IsNaN(v.U):
		return "no ± given"
	case v.Shape == uncertainty.Rectangular:
		return "± limits of error (rectangular): u = " +
			num(v.U*math.Sqrt(3), 4) + " / √3 = " + num(v.U, 4) + " " + unit
	}
	return "± expanded uncertainty, k = 2: u = " + num(2*v.U, 4) + " / 2 = " + num(v.U, 4) + " " + unit
}

// writeFlow shows volume over time, where the flow was not given.
func (a *Answer) writeFlow(p *paper) {
	if a.collected == nil {
		return
	}
	p.heading("The flow from the timed collection")
	a.writeVessel(p)
	p.line("Q = V / t = %s m³ / %s s = %s m³/s = %s", num(a.collected.Volume, 8), num(a.collected.Seconds, 6),
		num(a.flow.X, 6), litres(a.flow.X))
	if a.byHand {
		p.prose("The time came without ±, so it is taken as a stopwatch in a hand: a display of 0.01 s " +
			"(u = 0.005 / √3 s) and 0.1 s of reaction at the start and again at the stop. A lateness " +
			"that is the same at both cancels. The longer you collect, the less it matters.")
		return
	}
	p.prose("The ± of the time is taken to hold everything: the watch, its display and the hand on it.")
}

func (a *Answer) writeReynolds(p *paper) {
	bore := num(a.reading.Bore.X, 6)
	velocity, re := a.value(quantity.Velocity), a.value(quantity.Reynolds)
	p.heading("Mean velocity and Reynolds number")
	p.line("v  = 4·Q / (π·D²) = 4 × %s / (π × (%s)²) = %s m/s", num(a.flow.X, 6), bore, num(velocity, 6))
	p.line("Re = v·D / ν = %s × %s / (%s) = %s", num(velocity, 6), bore, num(a.water.KinematicViscosity, 6), num(re, 6))
	p.line("or, the same in one step,")
	p.line("Re = 4·Q / (π·D·ν) = 4 × %s / (π × %s × %s) = %s", num(a.flow.X, 6), bore, num(a.water.KinematicViscosity, 6), num(re, 6))
}

func (a *Answer) writeLimits(p *paper) {
	p.heading("The flow to set for each limit at this temperature")
	p.line("Q = Re·π·D·ν / 4")
	for _, l := range []struct {
		re float64
		id quantity.ID
	}{{a.reading.LaminarBelow, quantity.LaminarLimitFlow}, {a.reading.TurbulentAbove, quantity.TurbulentLimitFlow}} {
		q := a.value(l.id)
		p.line("Re = %-6s Q = %s × π × %s × %s / 4 = %s m³/s = %s", num(l.re, 6), num(l.re, 6),
			num(a.reading.Bore.X, 6), num(a.water.KinematicViscosity, 6), num(q, 5), litres(q))
	}
}

func (a *Answer) writeCautions(p *paper) {
	p.heading("Before you do it again")
	for _, note := range a.notes() {
		p.prose("%s.", sentence(note))
	}
	p.prose("Hot water scalds, glass breaks, mains heaters kill. Water of 60 °C burns skin within seconds; glass " +
		"that meets water much hotter than itself can crack; never heat without flow. Keep to the local codes, " +
		"leave the mains to licensed people, and trust no program with your safety.")
}

// sentence begins a text with a capital.
func sentence(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

func (a *Answer) writeSources(p *paper) {
	p.heading("Sources")
	for _, s := range []string{
		"Water: IAPWS SR6-08(2011), liquid water at 0.1 MPa.",
		"Uncertainty: JCGM 100:2008 (the GUM), 4.3 for the ± that were given, 5.1.2 and 5.1.6 for the sum, 6.2.1 for k = 2, 7.2.6 for the digits.",
		"Timed collection: after ISO 8316:1987 (from memory); 0.1 s of reaction is common practice, no source.",
		"Friction: 64/Re after Hagen and Poiseuille; Colebrook, J. Inst. Civ. Eng. 11 (1939) 133 (from memory).",
		"Entrance length: White, Fluid Mechanics, chapter 6; 4.4·Re^(1/6)·D is eq. 6.6 up to the 6th edition, the 7th (2011) prints 1.6·Re^(1/4)·D (editions from memory).",
		"α: 2 follows from the parabola; 1.06 was computed for a velocity that goes with the seventh root of the distance from the wall (1.058).",
	} {
		p.hang("- ", "%s", s)
	}
	if a.cools() {
		p.hang("- ", "Heat lost: Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049 and 1323, and Le Fevre and Ede (1956), outside; "+
			"Hausen (1943) laminar, Gnielinski (1976) turbulent, inside (but for the first all from memory).")
	}
}

// viscosityTerms are factor (µPa s) and power of each term of the release's
// viscosity equation, as printed.
var viscosityTerms = [...]struct {
	factor, power float64
	text          string
}{
	{280.68, -1.9, "280.68·θ^−1.9"},
	{511.45, -7.7, "511.45·θ^−7.7"},
	{61.131, -19.6, "61.131·θ^−19.6"},
	{0.45903, -40, "0.45903·θ^−40"},
}

// writeWater shows where the properties come from.
func (a *Answer) writeWater(p *paper) {
	celsius := a.celsius()
	kelvin := celsius + 273.15
	theta := kelvin / 300
	p.heading("Water at that temperature (IAPWS SR6-08, 0.1 MPa)")
	p.line("T  = %s + 273.15 = %s K,  θ = T / 300 K = %s", num(celsius, 6), num(kelvin, 7), num(theta, 7))
	p.line("η  = Σ of four terms, in µPa·s:")
	for _, t := range viscosityTerms {
		p.line("     %-16s = %s", t.text, num(t.factor*math.Pow(theta, t.power), 6))
	}
	p.line("   = %s µPa·s", num(a.value(quantity.DynamicViscosity)*1e6, 6))
	p.line("α  = 10 / (593 − T) = %s,  β = 10 / (T − 232) = %s", num(10/(593-kelvin), 6), num(10/(kelvin-232), 6))
	p.line("ρ  = p₀ / (R·10 K · [a₅ + Σ aᵢ·α^nᵢ + Σ bᵢ·β^mᵢ]) = %s kg/m³", num(a.value(quantity.Density), 6))
	p.line("     (p₀ = 10⁵ Pa, R = 461.51805 J/(kg·K); aᵢ: i = 6 to 10, bᵢ: i = 5 to 10, as in the release)")
	p.line("ν  = η / ρ = %s / %s = %s m²/s", num(a.value(quantity.DynamicViscosity), 6), num(a.value(quantity.Density), 6),
		num(a.value(quantity.KinematicViscosity), 6))
	p.line("One kelvin warmer changes ν by %s %%, and Re by as much the other way.", num(100*a.water.DLnNuDT, 3))
}
