package explain

import (
	"math"

	"flowrigd/calc/quantity"
)

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
	kelvin := a.reading.Temperature.X + 273.15
	theta := kelvin / 300
	p.heading("Water at that temperature (IAPWS SR6-08, 0.1 MPa)")
	p.line("T  = %s + 273.15 = %s K,  θ = T / 300 K = %s", num(a.reading.Temperature.X, 6), num(kelvin, 7), num(theta, 7))
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
