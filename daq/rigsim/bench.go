package rigsim

import (
	"math/rand/v2"
	"time"
)

// The bench: every figure of the model with its reason. Figures without a
// source are choices for a bench of this size (common practice, no source).
const (
	gravity = 9.80665 // m/s², standard value (CGPM 1901)

	// Supply: mains water through a hand tap. The ground keeps mains of a
	// temperate country between 10 and 16 °C, and what has stood in a warm
	// building's pipe comes first: ±1 K over tens of minutes.
	mainsLow, mainsHigh = 10.0, 16.0 // °C, mean of a rig's day
	mainsSwing          = 1.0        // K
	mainsPeriod         = 40.0 * 60  // s, of the slowest part
	supplyLag           = 1.0        // s, tap and hose follow a turn of the tap

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

	// Two layers: the supply comes in above the standpipe's skirt, the tube draws
	// below it. A supply that pours in through a diffuser stirs the lower water
	// with a seventh of its flow; the lower third of the water so lags the heater
	// by 3 min with the valve shut, and is 0.1 to 1 K cooler. Water that is colder
	// above than below turns over within half a minute.
	lowerShare = 0.35                // of the tank's water
	stirring   = 0.15                // of the supply's flow, exchanged between the layers
	conduction = 0.02 * litreAMinute // m³/s with no supply: conduction along the walls
	turnover   = 4.0 * litreAMinute  // m³/s, colder above than below

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

	// Room: a hall that is heated in winter and not cooled in summer; doors, sun
	// and people move it by ±1.5 K over an hour.
	roomLow, roomHigh = 17.0, 25.0 // °C, mean of a rig's day
	roomSwing         = 1.5        // K
	roomPeriod        = 80.0 * 60  // s, of the slowest part
	surroundingsEvery = 1.0        // s between two looks at room, mains and the tube's loss

	// Heat lost by the tube. Glass 1.1 W/(m K) and emissivity 0.92: tube_heat, from
	// memory of handbooks (0.90 to 0.94). A correlation of free convection is good
	// to some 15 %: a rig's own factor has a standard deviation of 12 %, cut at 2.5
	// of them. A draught can double the loss, and most halls are still: it adds an
	// exponential share with a mean of 0.15, so that it lies below 1.3 in 86 rigs
	// of 100, and never above 2.
	glassConductivity = 1.1  // W/(m K)
	emissivity        = 0.92 // of glass, long waves
	filmSpread        = 0.12
	draughtMean       = 0.15
	draughtMost       = 1.0

	// A parcel's history: one entry in 0.2 s, or in 2.5 mm where the water is so
	// slow that a tube would hold more of them than are kept. At 0.2 s the inlet
	// of the fastest scenario moves by 0.2 K.
	entryEvery = 0.2    // s
	entryApart = 0.0025 // m
	entries    = 512    // 1.28 m at the least

	// Laminar profile bent by warm water in a cool tube, on Gr/Re (bulk − wall):
	// fits of the marched profiles at 10, 26 and 78 (tube_heat, table; aided means
	// downward while the water is warmer than the room). Opposed, the wall gradient
	// vanishes near 96; what is left of it there is a guess.
	aidedGradient, opposedGradient = 0.0058, 0.007 // of the wall gradient
	leastGradient                  = 0.2
	bentKinetic                    = 0.0027 // of α; 1.97 falls to 1.92, 1.83, 1.56
	bendMost                       = 120.0  // Gr/Re; the marched profiles end at 78

	// Turbulent stretches. They are born at the inlet, at random and 15 D long (a
	// puff of 20 to 30 D with its tail has a core of 5 to 10 D, from memory), with
	// a rate that gives the dye its share of torn time: a logistic of Re whose
	// scale is 2.5 % of the threshold, so that a twentieth becomes 19 twentieths
	// within 15 %. Nothing printed was found for a tube this short.
	bornLength  = 15.0   // bores
	shareScale  = 0.025  // of the threshold
	mostDensity = 30.0   // −ln(1 − share): above it nothing laminar is left anywhere
	puffsBelow  = 2250.0 // Re; both fronts of a puff go together (Cerbus et al.)
	// Turbulence that the flow has left behind decays: a puff lives for 13 D/U at Re
	// 1700 (transition_statistics, section 2), far below that for none.
	leastTurbulent = 1000.0
	// The threshold of a rig's inlet: a box stirred by supply and overflow and a
	// needle in the mouth, so well below the quiet inlets of Tam and Ghajar (2870
	// and more, from memory) and above 2040, where turbulence can last at all.
	thresholdLow, thresholdHigh = 2100.0, 3000.0
	// The floor of a disturbed inlet in a tube of 70 D: a puff's mean life is one
	// passage at Re 1790 (Avila et al. 2011, constants from memory).
	floorLow, floorHigh = 1750.0, 1850.0
	// Memory: over twelve passages of the tube; fewer would forget by chance, more
	// would not fit into a step of the sweep.
	memoryPassages = 12
	memoryFull     = 0.80 // torn share above which the floor is the threshold
	memoryGone     = 0.05 // and below which the inlet's own is again

	// Dye: a photodiode behind the tube. A still thread shades it evenly, a torn
	// one sweeps past (common practice, no source).
	stillLight   = 0.62
	clearLight   = 0.95  // of clear water, without dye
	stillFlicker = 0.005 // standard deviation ÷ the light itself
	tornFlicker  = 0.15
	flickerTime  = 0.15 // s, an eddy of a third of the bore at 30 mm/s
	watchSeconds = 60   // s of the thread's past that are kept
	lookSeconds  = 10   // s that the demonstrator looks at it
	mostlyOne    = 0.95 // a thread torn, or whole, for so long is turbulent, or laminar

	laminarBelow   = 2000.0
	turbulentAbove = 4000.0

	maxStep = 20 * time.Millisecond // of physics; the fastest part, the weir, has 1 s
)

// stated is what the rig's papers say of the geometry: value and expanded
// uncertainty (k = 2), metres. rig.toml repeats it.
var stated = struct {
	bore, boreU, outer, outerU, length, lengthU, watchedAt, roughness, lip, lipU, drop, dropU float64
}{
	bore: 0.01300, boreU: 0.00004, outer: 0.0160, outerU: 0.0003,
	length: 0.900, lengthU: 0.002, watchedAt: 0.450, roughness: 1.5e-6,
	lip: 0.250, lipU: 0.001,
	drop: 1.100, dropU: 0.004,
}

// geometry is what the rig truly measures, in metres.
type geometry struct{ bore, length, roughness, lip, drop, outer, watchedAt float64 }

// draw finds a rig that fits its papers: normal with half the expanded
// uncertainty.
func draw(r *rand.Rand) geometry {
	return geometry{
		bore:      stated.bore + r.NormFloat64()*stated.boreU/2,
		length:    stated.length,
		roughness: stated.roughness,
		lip:       stated.lip + r.NormFloat64()*stated.lipU/2,
		drop:      stated.drop + r.NormFloat64()*stated.dropU/2,
		outer:     stated.outer + r.NormFloat64()*stated.outerU/2,
		watchedAt: stated.watchedAt,
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

// Streams beyond those of the quantities.
const (
	streamSurroundings = iota + 1000
	streamLoss
	streamThreshold
	streamLight
)

func randomStream(seed uint64, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, stream))
}
