package collection

import (
	"cmp"
	"fmt"

	"flowrigd/calc/uncertainty"
)

// ByWeight is a collection on a balance (ISO 4185:1980 with Cor.1:1993, from
// memory): q = (m₁ − m₀)·ε/(ρ·t) with the buoyancy factor
// ε = (1 − ρₐ/ρₚ)/(1 − ρₐ/ρ).
type ByWeight struct {
	// Gross and Tare are what the balance indicates with and without the
	// water, kg. A common offset of the balance cancels.
	Gross, Tare uncertainty.Value
	// Air is the density of the air, kg/m³; zero means 1.2 within ± 0.1.
	Air uncertainty.Value
	// Weights is the density of the weights that the balance was adjusted
	// with, kg/m³; zero means 8000, the convention.
	Weights float64
	// Water is the density of the water at the meter, kg/m³. It serves for the
	// buoyancy too: a few kelvin between meter and pan change that by 1e-6.
	Water  uncertainty.Value
	Timing Timing
}

const (
	airDensity    = 1.2  // kg/m³, the convention of weighing (OIML D 28, from memory)
	airSpread     = 0.1  // kg/m³, weather and an altitude to some 500 m
	weightDensity = 8000 // kg/m³, the convention of weighing (OIML D 28, from memory)
)

// Buoyancy is the factor ε from an indicated to a true mass of water (ISO 4185,
// exact form), densities in kg/m³.
func Buoyancy(air, weights, water float64) float64 {
	return (1 - air/weights) / (1 - air/water)
}

// Flow is the mean flow through the meter over the seconds of the collection.
func (c ByWeight) Flow() (Result, error) {
	c.Air = cmp.Or(c.Air, uncertainty.Limits(airDensity, airSpread))
	c.Weights = cmp.Or(c.Weights, weightDensity)
	if err := c.check(); err != nil {
		return Result{}, err
	}
	air, water := c.Air.X, c.Water.X
	mass := c.Gross.X - c.Tare.X
	volume := mass * Buoyancy(air, c.Weights, water) / water
	flow := volume / c.Timing.Elapsed.X
	budget := append([]uncertainty.Contribution{
		{Name: "gross weight", X: c.Gross.X, U: c.Gross.U, Sensitivity: flow / mass},
		{Name: "tare weight", X: c.Tare.X, U: c.Tare.U, Sensitivity: -flow / mass},
		// dlnε/dρₐ = 1/(ρ − ρₐ) − 1/(ρₚ − ρₐ)
		{Name: "air density", X: air, U: c.Air.U, Sensitivity: flow * (1/(water-air) - 1/(c.Weights-air))},
		// ε/ρ = (1 − ρₐ/ρₚ)/(ρ − ρₐ)
		{Name: "water density", X: water, U: c.Water.U, Sensitivity: -flow / (water - air)},
	}, c.Timing.rows(flow)...)
	return result(volume, c.Timing.Elapsed.X, budget)
}

func (c ByWeight) check() error {
	mass := c.Gross.X - c.Tare.X
	if !(mass > 0) {
		return fmt.Errorf("collection: weight: gross %g kg is not above tare %g kg; weigh the empty vessel first and give the gross weight with the water", c.Gross.X, c.Tare.X)
	}
	return cmp.Or(
		within("weight of water", mass, 1e-3, 1e5, "kg", "give both weights in one unit"),
		uncertain("weight", c.Gross.U, mass, "kg"),
		uncertain("weight", c.Tare.U, mass, "kg"),
		within("air density", c.Air.X, 0.5, 1.5, "kg/m3", "leave it out for 1.2 kg/m3"),
		within("density of weights", c.Weights, 1200, 22000, "kg/m3", "leave it out for 8000 kg/m3"),
		waterDensity(c.Water), c.Timing.check())
}
