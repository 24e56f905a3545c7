package collection

import (
	"cmp"

	"flowrigd/calc/uncertainty"
)

// Expansion is the linear coefficient of thermal expansion of common vessels
// in 1/K (handbook values, from memory).
const (
	BorosilicateExpansion  = 3.3e-6
	SodaLimeExpansion      = 9e-6
	StainlessExpansion     = 16e-6
	PolypropyleneExpansion = 100e-6
)

// ByVolume is a collection in a marked vessel (ISO 8316:1987, from memory):
// q = V/t with V = V₀·[1 + 3α(T − T₀)]·ρ/ρₘ.
type ByVolume struct {
	// Volume is what the vessel's mark says, m³, 1 mL to 100 m³. Its
	// uncertainty holds the vessel's tolerance and the reading of the mark.
	Volume uncertainty.Value
	// Marked is T₀, the temperature that the marks are made for; 0 means 20 °C.
	Marked float64
	// Temperature of vessel and water when read, °C, 0 to 100.
	Temperature uncertainty.Value
	// Expansion is α of the vessel, 1/K; 0 means not corrected.
	Expansion uncertainty.Value
	// Density of the water in the vessel and at the meter, kg/m³. Warm water
	// shrinks on its way into a cold jug: 0.25 % from 60 to 55 °C. Leave both 0
	// where the temperatures are the same.
	Density, MeterDensity uncertainty.Value
	Timing                Timing
}

// Flow is the mean flow through the meter over the seconds of the collection.
func (c ByVolume) Flow() (Result, error) {
	if err := c.check(); err != nil {
		return Result{}, err
	}
	rise := c.Temperature.X - cmp.Or(c.Marked, 20)
	expansion := 1 + 3*c.Expansion.X*rise
	ratio, density := densityRatio(c.Density, c.MeterDensity)
	volume := c.Volume.X * expansion * ratio
	flow := volume / c.Timing.Elapsed.X
	budget := []uncertainty.Contribution{
		{Name: "vessel", X: c.Volume.X, U: c.Volume.U, Sensitivity: flow / c.Volume.X},
		{Name: "vessel expansion", X: c.Expansion.X, U: c.Expansion.U, Sensitivity: 3 * rise * flow / expansion},
		{Name: "vessel temperature", X: c.Temperature.X, U: c.Temperature.U, Sensitivity: 3 * c.Expansion.X * flow / expansion},
	}
	for _, row := range density {
		row.Sensitivity *= flow
		budget = append(budget, row)
	}
	budget = append(budget, c.Timing.rows(flow)...)
	return result(volume, c.Timing.Elapsed.X, budget)
}

// densityRatio is ρ/ρₘ with its rows, their sensitivities for a flow of 1. The
// two densities count as independent: their common water formula cancels, what
// is left are two thermometers.
func densityRatio(vessel, meter uncertainty.Value) (float64, []uncertainty.Contribution) {
	if vessel.X == 0 && meter.X == 0 {
		return 1, nil
	}
	return vessel.X / meter.X, []uncertainty.Contribution{
		{Name: "density in the vessel", X: vessel.X, U: vessel.U, Sensitivity: 1 / vessel.X},
		{Name: "density at the meter", X: meter.X, U: meter.U, Sensitivity: -1 / meter.X},
	}
}

func (c ByVolume) check() error {
	var density error
	if c.Density.X != 0 || c.MeterDensity.X != 0 {
		density = cmp.Or(waterDensity(c.Density), waterDensity(c.MeterDensity))
	}
	return cmp.Or(
		within("volume", c.Volume.X, 1e-6, 100, "m3", "give the volume caught, for example 200 mL"),
		uncertain("volume", c.Volume.U, c.Volume.X, "m3"),
		within("vessel temperature", c.Temperature.X, 0, 100, "Cel", "give the temperature of the water in the vessel"),
		within("vessel expansion", c.Expansion.X, 0, 1e-3, "1/K", "give the linear coefficient, for example 3.3e-6 1/K for borosilicate glass"),
		density, c.Timing.check())
}

func waterDensity(d uncertainty.Value) error {
	return cmp.Or(
		within("water density", d.X, 950, 1001, "kg/m3", "give the density of liquid water at its temperature, for vessel and meter both"),
		uncertain("water density", d.U, d.X, "kg/m3"))
}
