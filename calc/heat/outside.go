package heat

import "math"

const (
	stefanBoltzmann = 5.670374419e-8 // W/(m² K⁴), CODATA 2018
	// emissivity of glass in the infrared, 0.90 to 0.94 (from memory); the room is
	// large, so its own does not matter. ±0.02 moves the fall by 1 % and is left out
	// of the budget beside 15 % and a draught.
	emissivity = 0.92

	airPressure     = 101325.0 // Pa; 10 % less, at 1000 m, is 4 % less convection
	airConstant     = 287.05   // J/(kg K)
	airHeatCapacity = 1006.0   // J/(kg K)
	airPrandtl      = 0.71     // in the correlations' own Prandtl terms, 0.705 to 0.715 here
)

// outside is the convection around a tube, as far as it does not depend on
// temperatures. Free convection:
//
// Horizontal: Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049,
// √Nu_D = 0.60 + 0.387·Ra_D^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27).
//
// Vertical: the larger of a plate's, Churchill and Chu, same volume, 1323,
// √Nu_L = 0.825 + 0.387·Ra_L^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27), and of a slender
// cylinder's, Le Fevre and Ede (1956, from memory),
// Nu_L = 4/3·[7·Gr·Pr²/(5·(20 + 21·Pr))]^¼ + 4·(272 + 315·Pr)·L/(35·(64 + 63·Pr)·D).
type outside struct {
	size              float64 // m: outer diameter, or length of a vertical tube
	floor, root       float64 // of Churchill and Chu
	slender, thinness float64 // of Le Fevre and Ede; 0 for a horizontal tube
}

func newOutside(t Tube) outside {
	const pr = airPrandtl
	if !t.Vertical {
		return outside{size: t.Outer.X, floor: 0.60, root: churchillRoot(0.559, pr)}
	}
	return outside{
		size: t.Length.X, floor: 0.825, root: churchillRoot(0.492, pr),
		slender:  4. / 3 * math.Pow(7*pr/(5*(20+21*pr)), 0.25), // of Ra, which is Gr·Pr
		thinness: 4 * (272 + 315*pr) / (35 * (64 + 63*pr)) * t.Length.X / t.Outer.X,
	}
}

// churchillRoot is the factor of Ra^(1/6), for both of Churchill and Chu's.
func churchillRoot(c, pr float64) float64 {
	return 0.387 / math.Pow(1+math.Pow(c/pr, 9./16), 8./27)
}

// surface is what the outer surface gives off: the coefficient in W/(m² K), the power
// of its rise over the room with which the heat goes, and the relative slopes of the
// coefficient.
type surface struct {
	coefficient float64
	power       float64 // dln(heat)/dln(rise)
	convection  float64 // for a relative change of the convection: its share
	outer       float64 // for one of the outer diameter
	room        float64 // for 1 K of the room at the same rise
}

// at is the surface at a rise over the room, K, which is below 0 where the tube is
// cooler; then the air sinks along it as it would rise.
func (o *outside) at(room, rise float64) surface {
	wall := room + rise
	convection, power, outer := o.convection(room+rise/2, math.Abs(rise))
	radiation := emissivity * stefanBoltzmann * (wall*wall + room*room) * (wall + room)
	all := convection + radiation
	share := convection / all
	bent, ends := 1/(wall*wall+room*room), 1/(wall+room)
	return surface{
		coefficient: all,
		power:       1 + share*power + (1-share)*rise*(2*wall*bent+ends),
		convection:  share,
		outer:       share * outer,
		room:        (1 - share) * (2*(wall+room)*bent + 2*ends),
	}
}

// convection is the coefficient in W/(m² K) at the film's temperature in kelvin and a
// difference of 0 or more; the power of the difference with which it goes, and that of
// the outer diameter. What the air's properties change with the film's temperature
// nearly cancels (a tenth of a percent for 1 K) and has no part in the powers.
func (o *outside) convection(film, difference float64) (h, power, outer float64) {
	ra, conductivity := o.rayleigh(film, difference)
	fourth := math.Sqrt(ra)
	grown := o.root * math.Cbrt(fourth)
	nu := (o.floor + grown) * (o.floor + grown)
	power = grown / (3 * (o.floor + grown))
	if o.slender == 0 {
		return nu * conductivity / o.size, power, 3*power - 1
	}
	layer := o.slender * math.Sqrt(fourth)
	if slender := layer + o.thinness; slender > nu {
		return slender * conductivity / o.size, layer / (4 * slender), -o.thinness / slender
	}
	return nu * conductivity / o.size, power, 0
}

// rayleigh is the Rayleigh number g·β·ΔT·x³/(ν·a) of air at a film's temperature, with
// β = 1/T, and the air's conductivity, W/(m K): 0.0241·(T/273.15)^0.81; the viscosity
// is Sutherland's, 1.458e-6·T^1.5/(T + 110.4) Pa s (U.S. Standard Atmosphere 1976).
// Conductivity and Sutherland's constants are from memory.
func (o *outside) rayleigh(film, difference float64) (ra, conductivity float64) {
	conductivity = 0.0241 * math.Exp(0.81*math.Log(film/zeroCelsius))
	viscosity := 1.458e-6 * film * math.Sqrt(film) / (film + 110.4)
	density := airPressure / (airConstant * film)
	return gravity * difference * o.size * o.size * o.size * density * density * airHeatCapacity /
		(film * viscosity * conductivity), conductivity
}

// slopes follow from the balance difference = rise·(1 + held), where held is the
// resistance of water and glass over that of the outside.
func (s *surface) slopes(rise, held float64) slopes {
	// One kelvin more between water and room is so much more heat.
	give := (1 + held) / (1/s.power + held)
	part := give * rise / s.power
	return slopes{difference: give, room: part * s.room, convection: part * s.convection, outer: part * (1 + s.outer)}
}
