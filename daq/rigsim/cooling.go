package rigsim

import (
	"math"
	"math/rand/v2"
)

// cooling is how fast water in the tube comes to the room's temperature:
// through the film inside, the glass, and free convection and radiation
// outside. The daemon's own heat of the tube is computed elsewhere and by
// other code; that the two agree is a test of both.
type cooling struct {
	factor  float64 // of this rig: what a correlation is off, and the draught of its hall
	rate    float64 // 1/s at which a parcel's difference to the room falls
	surface float64 // °C of the glass outside, from the last look
	wall    float64 // share of bulk − room that lies between bulk and wall
}

// drawLoss finds the factor of a rig.
func drawLoss(r *rand.Rand) float64 {
	film := 1 + filmSpread*math.Max(-2.5, math.Min(2.5, r.NormFloat64()))
	return film * (1 + math.Min(draughtMost, draughtMean*r.ExpFloat64()))
}

// air is the room's air at a film's temperature, kelvin: Sutherland's viscosity,
// k = 0.0241·(T/273.15)^0.81 W/(m K), ideal gas at 101 325 Pa, c_p 1006 J/(kg K).
type air struct{ nu, conductivity, prandtl float64 }

func airAtFilm(kelvin float64) air {
	mu := 1.458e-6 * kelvin * math.Sqrt(kelvin) / (kelvin + 110.4)
	k := 0.0241 * math.Pow(kelvin/273.15, 0.81)
	return air{nu: mu * 287.05 * kelvin / 101325, conductivity: k, prandtl: mu * 1006 / k}
}

// outside is the film coefficient on the outer surface of the vertical tube,
// W/(m² K): radiation, and of free convection the larger of Churchill and Chu's
// plate (Int. J. Heat Mass Transfer 18 (1975) 1323) and the slender cylinder of
// Le Fevre and Ede (1956); from memory.
func outside(surface, room float64, g geometry) float64 {
	const zero, boltzmann = 273.15, 5.670374419e-8
	ts, ta := surface+zero, room+zero
	radiation := emissivity * boltzmann * (ts*ts + ta*ta) * (ts + ta)
	a := airAtFilm((ts + ta) / 2)
	l := g.length
	grashof := gravity * 2 / (ts + ta) * math.Abs(ts-ta) * l * l * l / (a.nu * a.nu)
	pr := a.prandtl
	root := 0.825 + 0.387*math.Pow(grashof*pr, 1.0/6)/math.Pow(1+math.Pow(0.492/pr, 9.0/16), 8.0/27)
	slender := 4.0/3*math.Pow(7*grashof*pr*pr/(5*(20+21*pr)), 0.25) + 4*(272+315*pr)*l/(35*(64+63*pr)*g.outer)
	return radiation + math.Max(root*root, slender)*a.conductivity/l
}

// inside is the film coefficient on the bore, W/(m² K): Hausen's laminar entry,
// and Dittus and Boelter's 0.023·Re^0.8·Pr^0.3 where the tube is turbulent, in
// parts by what fills it (both from memory).
func inside(re, prandtl, conductivity, torn float64, g geometry) float64 {
	gz := re * prandtl * g.bore / g.length
	laminar := 3.66 + 0.0668*gz/(1+0.04*math.Pow(gz, 2.0/3))
	turbulent := math.Max(laminar, 0.023*math.Pow(re, 0.8)*math.Pow(prandtl, 0.3))
	return ((1-torn)*laminar + torn*turbulent) * conductivity / g.bore
}

// look finds the rate anew, for water of a temperature that runs with re and is
// turbulent in a part of the tube. What of the room's film does not fit is
// small a second later, so a few rounds from the last surface do.
func (c *cooling) look(celsius, room, re, torn float64, g geometry) {
	w := waterAt(celsius)
	film := inside(re, w.DynamicViscosity*w.HeatCapacity/w.Conductivity(), w.Conductivity(), torn, g)
	glass := g.bore * math.Log(g.outer/g.bore) / (2 * glassConductivity)
	through := 0.0
	for range 3 {
		out := outside(c.surface, room, g) * g.outer / g.bore
		through = 1 / (1/film + glass + 1/out)
		c.surface = room + (celsius-room)*through/out
	}
	through *= c.factor
	c.rate = 4 * through / (w.Density * w.HeatCapacity * g.bore)
	c.wall = through / film
}

// grashof is Gr/Re of the tube on its bore, from the difference between bulk and
// wall at the outlet, properties at the inlet's temperature; negative where the
// room warms the water.
func (c *cooling) grashof(inlet, outlet, room, re float64, g geometry) float64 {
	w := waterAt(inlet)
	gr := gravity * w.Expansion * c.wall * (outlet - room) * math.Pow(g.bore, 3) / (w.KinematicViscosity * w.KinematicViscosity)
	return gr / re
}
