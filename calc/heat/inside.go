package heat

import "math"

// flowing is the inside of the tube: the Nusselt number on the bore, and the power of
// the flow with which it goes.
type flowing struct{ nusselt, power float64 }

// inside is the mean over the tube's length.
//
// Laminar: Hausen (1943, from memory), Nu = 3.66 + 0.0668·Gz/(1 + 0.04·Gz^(2/3)) with
// Gz = Re·Pr·D/L; the flow's own profile is developed, the temperature's is not.
//
// Turbulent: Gnielinski, Int. Chem. Eng. 16 (1976) 359 (from memory), for Re 3000 up,
// Nu = (f/8)·(Re − 1000)·Pr/(1 + 12.7·√(f/8)·(Pr^(2/3) − 1)) with Petukhov's
// f = (0.79·ln Re − 1.64)⁻²; below it, and never less than the laminar.
func inside(s *Stream, flow, bore, boreOverLength, conductivity float64) flowing {
	w := s.Water
	re := 4 * flow / (math.Pi * bore * w.KinematicViscosity)
	pr := w.DynamicViscosity * w.HeatCapacity / conductivity
	laminar := hausen(re * pr * boreOverLength)
	if !s.Turbulent || re < 2300 {
		return laminar
	}
	friction := 0.79*math.Log(re) - 1.64
	f8 := 1 / (8 * friction * friction)
	nu := f8 * (re - 1000) * pr / (1 + 12.7*math.Sqrt(f8)*(math.Cbrt(pr*pr)-1))
	if nu <= laminar.nusselt {
		return laminar
	}
	return flowing{nu, re / (re - 1000)}
}

func hausen(gz float64) flowing {
	bent := 0.04 * math.Cbrt(gz*gz)
	more := 0.0668 * gz / (1 + bent)
	nu := 3.66 + more
	return flowing{nu, more / nu * (1 - 2./3*bent/(1+bent))}
}
