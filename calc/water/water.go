// Package water owns the properties of liquid water at 0.1 MPa by the IAPWS
// supplementary release SR6-08(2011), with the temperature derivative and the
// uncertainty of the kinematic viscosity, and the boiling temperature.
//
//	degrees Celsius → At → Properties
//	altitude → standard atmosphere → Boiling
//
// It knows nothing of steam, ice, sea water or other pressures: 0.1 bar more
// changes the density by 0.0005 %.
package water

import "math"

const (
	zeroCelsius = 273.15 // K

	gasConstant       = 461.51805 // J/(kg K), of the release
	referencePressure = 1e5       // Pa
	referenceKelvin   = 10        // TR of the release
)

// Freezing and BoilingHere bound the liquid that At accepts, degrees Celsius;
// BoilingHere is the boiling temperature at 0.1 MPa (IAPWS R7-97(2012), table
// 36: 372.755919 K).
const (
	Freezing    = 0.0
	BoilingHere = 99.605919
)

// Properties of liquid water at 0.1 MPa.
type Properties struct {
	Density            float64 // kg/m³
	DynamicViscosity   float64 // Pa s
	KinematicViscosity float64 // m²/s
	KinematicU         float64 // standard uncertainty of the kinematic viscosity, m²/s
	HeatCapacity       float64 // isobaric, J/(kg K)
	Expansion          float64 // cubic, 1/K; negative below 4 °C
	DLnNuDT            float64 // relative change of the kinematic viscosity with temperature, 1/K
	D2LnNuDT2          float64 // its derivative, 1/K²

	logT float64 // of T/300 K
}

// Conductivity is the thermal conductivity, W/(m K); apart from the rest, because it
// costs as much as the viscosity and is rarely asked for.
func (p *Properties) Conductivity() float64 { return conductivity(p.logT) }

// At gives the properties of the liquid on a bench at a temperature in degrees
// Celsius. Below 0 °C and above the boiling temperature at 0.1 MPa it is a
// *RangeError.
func At(celsius float64) (Properties, error) {
	if !Liquid(celsius) {
		return Properties{}, &RangeError{Quantity: "temperature", Value: celsius, Unit: "°C", Low: Freezing, High: BoilingHere, Remedy: liquidRemedy(celsius)}
	}
	return properties(celsius + zeroCelsius), nil
}

// Liquid reports whether At accepts a temperature, degrees Celsius.
func Liquid(celsius float64) bool { return celsius >= Freezing && celsius <= BoilingHere }

// properties are those of the release, which holds from 253.15 K to 383.15 K:
// supercooled and superheated liquid too, as in its check table.
func properties(kelvin float64) Properties {
	alpha, beta := referenceKelvin/(593-kelvin), referenceKelvin/(kelvin-232)
	v := specificVolume(alpha, beta)
	logT := math.Log(kelvin / 300)
	eta := viscosity(logT)
	nu := eta.value * v.value
	etaSlope, etaBend := eta.slope/(eta.value*kelvin), eta.bend/(eta.value*kelvin*kelvin)
	expansion := v.slope / v.value
	return Properties{
		Density:            1 / v.value,
		DynamicViscosity:   eta.value,
		KinematicViscosity: nu,
		KinematicU:         nu * relativeNuU(kelvin-zeroCelsius),
		HeatCapacity:       heatCapacity(kelvin/referenceKelvin, alpha, beta),
		Expansion:          expansion,
		// ν = η·v, so the logarithmic derivatives add.
		DLnNuDT:   etaSlope + expansion,
		D2LnNuDT2: etaBend - etaSlope*etaSlope + v.bend/v.value - expansion*expansion,
		logT:      logT,
	}
}

// Density is that of At alone, kg/m³, with the expansion, 1/K; NaN where At is an
// error.
func Density(celsius float64) (density, expansion float64) {
	if !Liquid(celsius) {
		return math.NaN(), math.NaN()
	}
	kelvin := celsius + zeroCelsius
	v := specificVolume(referenceKelvin/(593-kelvin), referenceKelvin/(kelvin-232))
	return 1 / v.value, v.slope / v.value
}

// relativeNuU is the relative standard uncertainty of the kinematic viscosity
// at a temperature in degrees Celsius; the density's part is negligible.
//
// 0 to 40 °C: 0.10 %. The reference viscosity at 20 °C is known to 0.17 %
// (k = 2; ISO/TR 3666, from memory), the ratio to it to 0.05 % (Kestin, Sokolov
// and Wakeham 1978, abstract), and SR6-08 lies within 0.09 % of that equation.
// Above, the ratio is known to 0.2 % (same abstract) and the two equations
// differ by up to 0.30 % at 95 °C, as limits 0.17 %: a straight line from 40 to
// 95 °C. The release's own figure of 1 % (from memory) covers the whole
// formulation up to high pressures and is not used.
func relativeNuU(celsius float64) float64 {
	const near, far = 0.0010, 0.0017
	part := math.Min(1, math.Max(0, (celsius-40)/(95-40)))
	return near + part*(far-near)
}
