package transition

import "fmt"

// Reference is a limit of Re in the literature.
type Reference struct {
	Reynolds float64
	Meaning  string
	Source   string
	How      string // read, computed or memory: how the figure came here
}

// References are the limits beside which a measured one is shown, by rising
// Re. None is a constant of nature: each holds for some entry, some
// disturbance and some patience.
func References() []Reference {
	return []Reference{
		{2000, "lower limit in Reynolds's own terms, about 2000", "Reynolds, Phil. Trans. R. Soc. 174 (1883) 935, quoted in Physics Today 57(2) (2004) 21, abstract", "read"},
		{2020, "below it a disturbed flow always returns to laminar; the critical point lies in an interval from 2020 (to 2060: memory)", "Mukund and Hof, J. Fluid Mech. 839 (2018) 76, abstract", "read"},
		{2040, "turbulence sustains itself, ± 10", "Avila et al., Science 333 (2011) 192, quoted in the python library fluids, friction.py", "read"},
		{2100, "laminar below", "Munson, Young, Okiishi, Fundamentals of Fluid Mechanics, ch. 8; Bird, Stewart, Lightfoot, Transport Phenomena", "memory"},
		{2300, "critical Reynolds number of pipe flow", "White, Fluid Mechanics, ch. 6, in an edition up to the 6th", "read"},
		{4000, "fully turbulent above about 4000", "White, Fluid Mechanics, ch. 6, example 6.2, in an edition up to the 6th", "read"},
		{12830, "Reynolds's upper critical number for a quiet entry, from 1/(43.79 s/m² · 1.78e-6 m²/s)", "Reynolds, Phil. Trans. R. Soc. 174 (1883) 935", "computed"},
	}
}

// CriticalVelocities are the mean velocities of Reynolds, Phil. Trans. R. Soc.
// 174 (1883) 935, in m/s: v = P/(B·D), B 278 s/m² for the lower and
// 43.79 s/m² for the upper, P = 1/(1 + 0.03368·T + 0.000221·T²), Poiseuille's
// law of the viscosity. The formulas are from memory.
type CriticalVelocities struct {
	Lower float64 // below it eddies die out
	Upper float64 // above it a quiet entry breaks into eddies
}

// Reynolds1883 gives his critical velocities in a tube of bore metres (1 mm to
// 1 m) with water of celsius (0 to 100). Poiseuille's P is 1 % below today's
// viscosity at 60 °C and 6 % at 95 °C, far beyond his own cold water.
func Reynolds1883(bore, celsius float64) (CriticalVelocities, error) {
	const lower, upper = 278, 43.79 // s/m²
	if !(bore >= 1e-3 && bore <= 1) {
		return CriticalVelocities{}, fmt.Errorf("transition: bore: %g m is outside 0.001 to 1 m; give the tube's inner diameter", bore)
	}
	if !(celsius >= 0 && celsius <= 100) {
		return CriticalVelocities{}, fmt.Errorf("transition: temperature: %g Cel is outside 0 to 100 Cel; give the temperature of liquid water", celsius)
	}
	p := 1 / (1 + celsius*(0.03368+celsius*0.000221))
	return CriticalVelocities{Lower: p / (lower * bore), Upper: p / (upper * bore)}, nil
}
