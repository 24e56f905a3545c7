package water

import "math"

// derived is a function with its first and second derivative.
type derived struct{ value, slope, bend float64 }

// term is one summand of a sum of powers.
type term struct{ factor, power float64 }

// specificVolume in m³/kg with its temperature derivatives: the release's
// equation for v0 and its derivatives, a5 to a10 and b5 to b10. The sums are
// written out as polynomials in alpha and beta.
func specificVolume(a, b float64) derived {
	const a5, a6, a7, a8, a9, a10 = 1.93763157e-2, 6.74458446e3, -2.22521604e5, 1.00231247e8, -1.63552118e9, 8.32299658e9
	const b5, b6, b7, b8, b9, b10 = 5.78545292e-3, -1.53195665e-2, 3.11337859e-2, -4.23546241e-2, 3.38713507e-2, -1.19946761e-2
	a2 := a * a
	a4 := a2 * a2
	value := a5 + a4*(a6+a*(a7+a2*(a8+a*(a9+a*a10)))) +
		b*(b5+b*(b6+b*(b7+b*(b8+b*(b9+b*b10)))))
	slope := a4*a*(4*a6+a*(5*a7+a2*(7*a8+a*(8*a9+a*9*a10)))) -
		b*b*(b5+b*(2*b6+b*(3*b7+b*(4*b8+b*(5*b9+b*6*b10)))))
	bend := a4*a2*(20*a6+a*(30*a7+a2*(56*a8+a*(72*a9+a*90*a10)))) +
		b*b*b*(2*b5+b*(6*b6+b*(12*b7+b*(20*b8+b*(30*b9+b*42*b10)))))
	const scale = gasConstant * referenceKelvin / referencePressure
	return derived{scale * value, scale / referenceKelvin * slope, scale / (referenceKelvin * referenceKelvin) * bend}
}

// heatCapacity is the isobaric heat capacity, J/(kg K): the release's equation
// for cp, a1 to a3, b1 to b4 and c3.
func heatCapacity(tau, a, b float64) float64 {
	const a1, a2, a3 = -1.661470539e5, 2.708781640e6, -1.557191544e8
	const b1, b2, b3, b4 = -8.237426256e-1, 1.908956353, -2.017597384, 8.546361348e-1
	const c3 = -8.983025854
	aa, bb := a*a, b*b
	sum := aa*aa*aa*(20*a1+a*(30*a2+aa*56*a3)) + bb*bb*(6*b1+b*(12*b2+b*(20*b3+b*30*b4)))
	return -gasConstant * (c3 + tau*sum)
}

// viscosity is the dynamic viscosity, Pa s, with T·dη/dT and T²·d²η/dT², from
// the logarithm of T/300 K: four powers of T, written as exponentials of one
// logarithm because that costs a quarter of four calls of math.Pow.
func viscosity(logT float64) (d derived) {
	for _, t := range [...]term{{280.68e-6, -1.9}, {511.45e-6, -7.7}, {61.131e-6, -19.6}, {0.45903e-6, -40}} {
		y := t.factor * math.Exp(t.power*logT)
		d.value += y
		d.slope += t.power * y
		d.bend += t.power * (t.power - 1) * y
	}
	return d
}

// conductivity is the thermal conductivity, W/(m K), from the logarithm of
// T/300 K.
func conductivity(logT float64) (k float64) {
	for _, t := range [...]term{{1.6630, -1.15}, {-1.7781, -3.4}, {1.1567, -6.0}, {-0.432115, -7.6}} {
		k += t.factor * math.Exp(t.power*logT)
	}
	return k
}
