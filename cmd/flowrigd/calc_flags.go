package main

import (
	"math"

	"flowrigd/calc/water"
	"flowrigd/config"
)

// The defaults of the limits: Reynolds, Phil. Trans. R. Soc. 174 (1883) 935, for
// the lower, White, Fluid Mechanics, chapter 6, for the upper (both as quoted in
// transition.References).
const (
	usualLaminarBelow   = "2000"
	usualTurbulentAbove = "4000"
)

// asked is one quantity that calc takes, with the range in which the physics
// and a bench have sense, in SI units or degrees Celsius.
type asked struct {
	flag      string
	name      string
	dimension config.Dimension
	preset    string
	help      string
	low, high float64
	spread    float64 // largest number behind ±: a part of the value, kelvins of a temperature
	remedy    string
}

func askedQuantities() []asked {
	return []asked{
		{"flow", "flow", config.VolumeFlow, "", "volume `FLOW` through the tube, such as \"1.2 L/min\"", 1e-8, 1, 0.5, "give the flow that runs through the tube"},
		{"volume", "volume", config.Volume, "", "`VOLUME` caught at the outlet, with --time in place of --flow, such as \"200 mL\"", 1e-6, 100, 0.5, "give what was caught, a jug of 200 mL for example"},
		{"time", "time", config.Time, "", "`TIME` of the collection, such as \"30.0 s\"; without ± a hand-held stopwatch is taken", 1, 86400, 0.5, "collect for about 30 s or longer"},
		{"temperature", "temperature", config.Temperature, "", "water `TEMPERATURE` in the tube, such as \"42 Cel\"", water.Freezing, water.BoilingHere, 20, "give the temperature of liquid water"},
		{"bore", "bore", config.Length, "", "inner `DIAMETER` of the tube, such as \"13 mm ± 0.05 mm\"", 1e-4, 1, 0.5, "give the inner diameter of the tube, such as 13 mm"},
		{"length", "length", config.Length, "", "`LENGTH` of the tube, for the entrance length and the losses", 1e-3, 100, 0.5, "give the length of the tube, such as 900 mm"},
		{"roughness", "roughness", config.Length, "", "`HEIGHT` of the wall's roughness (drawn glass, 0.0015 mm, when not given)", 0, 0.05, math.Inf(1), "give the roughness of the wall, 0.0015 mm for drawn glass"},
		{"head", "head", config.Length, "", "`HEAD` of water above the tube's outlet, for the loss coefficient", 1e-3, 20, 0.5, "give the height of the water above the outlet, such as 1.35 m"},
		{"laminar-below", "lower limit", config.None, usualLaminarBelow, "Reynolds `NUMBER` below which the band is laminar", 1, 1e6, 0, "give about 2000"},
		{"turbulent-above", "upper limit", config.None, usualTurbulentAbove, "Reynolds `NUMBER` above which the band is turbulent", 1, 1e6, 0, "give about 4000"},
	}
}
