package explain

import (
	"math"

	"flowrigd/calc/collection"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// Vessel is what a volume was caught in. The zero value is not said.
type Vessel uint8

// The vessels.
const (
	VesselUnknown Vessel = iota
	Borosilicate
	SodaLime
	Steel
	Plastic
)

// VesselNames are the words for them, in order.
func VesselNames() []string { return []string{"borosilicate", "glass", "steel", "plastic"} }

// expansion is the linear coefficient, 1/K. Glasses and steel are known to a tenth;
// jugs of plastic are of polypropylene or the like, known to 40 % (handbook values, from
// memory).
func (v Vessel) expansion() uncertainty.Value {
	e := [...]float64{
		Borosilicate: collection.BorosilicateExpansion, SodaLime: collection.SodaLimeExpansion,
		Steel: collection.StainlessExpansion, Plastic: collection.PolypropyleneExpansion,
	}[v]
	if v == Plastic {
		return uncertainty.Limits(e, 0.4*e)
	}
	return uncertainty.Limits(e, 0.1*e)
}

// vesselExpanded stands in for the ± of a vessel's temperature, K (k = 2).
const vesselExpanded = 2.0

// intoVessel gives a collection what is known of its vessel: how much wider it is than
// at 20 °C, where its marks were made, and how much the water has shrunk since the tube.
// Where only the material is said the vessel is as warm as the water in the tube.
func (a *Answer) intoVessel(c *collection.ByVolume) {
	r := a.reading
	tube := r.Temperature.Value
	if math.IsNaN(tube.U) {
		tube.U = 0 // asked for again in the viscosity
	}
	vessel := uncertainty.Value{X: tube.X, U: vesselExpanded / 2}
	if r.VesselTemperature.IsGiven() {
		vessel = orExpanded(r.VesselTemperature, vesselExpanded)
		c.Density, c.MeterDensity = density(vessel), density(tube)
	}
	if r.Vessel != VesselUnknown {
		c.Temperature, c.Expansion = vessel, r.Vessel.expansion()
	}
}

func density(t uncertainty.Value) uncertainty.Value {
	rho, expansion := water.Density(t.X)
	return uncertainty.Value{X: rho, U: rho * math.Abs(expansion) * t.U}
}

// writeVessel shows the corrections of a volume.
func (a *Answer) writeVessel(p *paper) {
	r := a.reading
	c := collection.ByVolume{}
	a.intoVessel(&c)
	if r.Vessel != VesselUnknown {
		p.line("The vessel, %s, is marked for 20 °C: V = V₀·[1 + 3·α·(Tv − 20 °C)]", VesselNames()[r.Vessel-1])
		p.line("  1 + 3 × %s × (%s − 20) = %s", num(c.Expansion.X, 3), num(c.Temperature.X, 4), num(1+3*c.Expansion.X*(c.Temperature.X-20), 6))
	}
	if c.Density.X != 0 {
		p.line("The mass is the same, so the volume in the tube is larger by ρ(vessel)/ρ(tube)")
		p.line("  = %s / %s = %s", num(c.Density.X, 6), num(c.MeterDensity.X, 6), num(c.Density.X/c.MeterDensity.X, 6))
	}
}
