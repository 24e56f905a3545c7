package rigsim

import (
	"math/rand/v2"
	"time"
)

// The bench: every figure of the model with its reason. Figures without a
// source are choices for a bench of this size (common practice, no source).
const (
	gravity = 9.80665 // m/s², standard value (CGPM 1901)

	// Supply: mains water in a temperate cellar, through a hand tap.
	supplyCelsius = 14.0 // °C
	supplyLag     = 1.0  // s, tap and hose follow a turn of the tap

	// Heater: an inline heater as used in kitchens and labs.
	heaterPower    = 9000.0 // W, three-phase element
	heaterCapacity = 2200.0 // J/K: 0.4 L of water and about 1 kg of metal
	heaterLoss     = 3.0    // W/K to the room, lagged
	heaterGain     = 250.0  // W/K of the thermostat beside its feed-forward
	cutOutCelsius  = 98.0   // °C, hard-wired thermal cut-out, to be reset by hand

	// Heat held by a cubic metre of water, J/(m³ K), at 40 °C: density
	// 992.2 kg/m³ times 4179 J/(kg K) (IAPWS SR6-08); within 1 % from 10 to 75 °C.
	heatPerVolume = 4.146e6

	// Tank: a lidded box, 160 mm by 100 mm, with a standpipe as overflow.
	tankArea = 0.016  // m²
	tankDead = 0.0005 // m³ of water below the level sensor's datum
	tankLoss = 2.0    // W/K to the room: about 0.2 m² of wall at 10 W/(m² K)

	// Overflow: thin-plate weir round a standpipe of 32 mm, Q = ⅔·C·b·√(2g)·H^1.5
	// (ISO 1438 has C near 0.62 for small heads; surface tension is left out).
	weirWidth     = 0.100 // m
	weirDischarge = 0.62

	// Tube and valve.
	entranceLoss  = 0.1  // a bell-mouth; a sharp edge has 0.5
	valveOpenLoss = 40.0 // loss coefficient of the open valve, on the tube's velocity
	valveRange    = 50.0 // flow open ÷ flow nearly shut, equal-percentage plug
	valveSlew     = 0.05 // of the travel a second: a hand that turns slowly
	airAt         = 0.002
	// airAt, m of level: below it the tube's mouth draws air.
	// The flow moves by the head over the inertia of 0.9 m of water within
	// 10 ms, so the tube is taken as quasi-steady.

	roomCelsius = 21.0 // °C

	// Between the limits turbulent slugs fill a share of the time that grows
	// from 0 to 1; one comes every few seconds at these flows.
	slugPeriod = 4.0 // s

	laminarBelow   = 2000.0
	turbulentAbove = 4000.0

	maxStep = 20 * time.Millisecond // of physics; the fastest part, the weir, has 1 s
)

// stated is what the rig's papers say of the geometry: value and expanded
// uncertainty (k = 2), metres. rig.toml repeats it.
var stated = struct{ bore, boreU, length, lengthU, roughness, lip, lipU, drop, dropU float64 }{
	bore: 0.01300, boreU: 0.00004,
	length: 0.900, lengthU: 0.002, roughness: 1.5e-6,
	lip: 0.250, lipU: 0.001,
	drop: 1.100, dropU: 0.004,
}

// geometry is what the rig truly measures, in metres.
type geometry struct{ bore, length, roughness, lip, drop float64 }

// draw finds a rig that fits its papers: normal with half the expanded
// uncertainty.
func draw(r *rand.Rand) geometry {
	return geometry{
		bore:      stated.bore + r.NormFloat64()*stated.boreU/2,
		length:    stated.length,
		roughness: stated.roughness,
		lip:       stated.lip + r.NormFloat64()*stated.lipU/2,
		drop:      stated.drop + r.NormFloat64()*stated.dropU/2,
	}
}

// Streams of random numbers: one a purpose, so that a change in one place
// leaves the draws of the others alone.
const (
	streamGeometry = iota + 1
	streamSlugs
	streamWire
	streamJunction
	streamSensors // and one more for each quantity
)

func randomStream(seed uint64, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, stream))
}
