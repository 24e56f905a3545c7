package pipe

import (
	"math"

	"flowrigd/calc/water"
)

// Profile is what the heat through the tube's wall does to a laminar profile.
type Profile uint8

// The profiles. Water at a cooler wall is heavier than the rest (above 4 °C): where it
// flows down it runs ahead there, the shear at the wall rises and the middle falls
// back; where it flows up it is held back, until it stands still at the wall. Of water
// that the room warms it is the other way round.
const (
	ProfileUnknown Profile = iota // no flow, no temperature of the room, or turbulent
	Parabola                      // up to Gr/Re 10, where friction is some 5 % off 64/Re
	Ahead                         // up to 60, ahead at the wall
	Behind                        // up to 60, behind at the wall
	FarAhead                      // above 60, where the middle dimples: no longer a parabola
	NearStandstill                // above 60; fully developed the wall's shear vanishes near 96
	NotKnown                      // horizontal, above 10: two rolls, no figure of ours
)

// Where the ratio Gr/Re begins to tell: 10, where friction is 4 to 7 % off 64/Re
// (bounds computed for a tube of 13 mm × 900 mm at Re 1500); 60, where a fully
// developed profile has a dimple on its axis in aiding flow (computed; Scheele and
// Hanratty, J. Fluid Mech. 14 (1962) 244, give it for the first instability, from
// memory).
const (
	bentAbove       = 10.0
	noParabolaAbove = 60.0
)

// String says a profile to a person; what is no remark is empty.
func (p Profile) String() string {
	return [...]string{
		Ahead:          "heat through the wall makes the water run ahead along it: laminar friction is above 64/Re by some 5 % or more",
		Behind:         "heat through the wall holds the water back along it: laminar friction is below 64/Re by some 5 % or more",
		FarAhead:       "the laminar profile is no longer a parabola: heat through the wall makes the water run far ahead along it, and 64/Re does not hold",
		NearStandstill: "the laminar profile is no longer a parabola: heat through the wall brings the water along it near a standstill, and 64/Re does not hold",
		NotKnown:       "the laminar profile is not known: heat through the wall turns the water over in a horizontal tube",
	}[p]
}

// GrashofReynolds is Gr/Re with Gr = g·β·ΔT·D³/ν² of a difference between water and
// wall in kelvin; bore in metres. The sign is that of β·ΔT: positive where the water
// at the wall is the heavier.
func GrashofReynolds(w *water.Properties, difference, bore, re float64) float64 {
	nu := w.KinematicViscosity
	return Gravity * w.Expansion * difference * bore * bore * bore / (nu * nu * re)
}

// bend says what becomes of the profile. A turbulent one is not a matter of Gr/Re.
func (p *Pipe) bend(t *Tube, re float64, inlet *water.Properties) {
	signed := GrashofReynolds(inlet, t.BulkOverWall, p.bore, re)
	t.GrashofReynolds = math.Abs(signed)
	if re <= p.rig.TurbulentAbove {
		t.Profile = profile(p.rig.Orientation, signed)
	}
}

func profile(o Orientation, heavierAtWall float64) Profile {
	ahead := heavierAtWall > 0 == (o == VerticalDown)
	switch size := math.Abs(heavierAtWall); {
	case !(size > bentAbove):
		return Parabola
	case o == Horizontal:
		return NotKnown
	case size > noParabolaAbove && ahead:
		return FarAhead
	case size > noParabolaAbove:
		return NearStandstill
	case ahead:
		return Ahead
	}
	return Behind
}

// How far the bend goes for each unit of Gr/Re: the wall's gradient rises by 0.0054 to
// 0.0067 of itself where the water runs ahead and falls by 0.0069 to 0.0080 where it is
// held back; α falls by 0.0050 to 0.0053 where it runs ahead (boundary-layer equations
// marched along a vertical tube of 13 mm × 900 mm at Re 1500, Gr/Re 10, 26 and 78;
// computed for this project). Each is taken a fifth larger than the largest, because
// one tube was computed. Where the water is held back α rises; that was not computed,
// and half as much again is taken.
const (
	frictionAhead  = 1.2 * 0.0067
	frictionBehind = 1.2 * 0.0080
	alphaAhead     = 1.2 * 0.0053
	alphaBehind    = 1.5 * alphaAhead
)

// bracket is what a value lies within, every part of it as likely.
type bracket struct{ low, high float64 }

func (b bracket) middle() float64 { return (b.low + b.high) / 2 }
func (b bracket) u() float64      { return (b.high - b.low) / (2 * math.Sqrt(3)) }

// bent is the bracket of laminar friction as a part of 64/Re, and that of α: from the
// parabola's to the bent one's. The bend is computed at the outlet and is less before
// it.
func (t *Tube) bent() (friction, alpha bracket) {
	friction, alpha = bracket{1, 1}, bracket{alphaLaminar, alphaLaminar}
	g, p := t.GrashofReynolds, t.Profile
	if p == Ahead || p == FarAhead || p == NotKnown {
		friction.high = 1 + frictionAhead*g
		alpha.low = math.Max(alphaTurbulent, alphaLaminar-alphaAhead*g)
	}
	if p == Behind || p == NearStandstill || p == NotKnown {
		friction.low = math.Max(0, 1-frictionBehind*g)
		alpha.high = alphaLaminar + alphaBehind*g
	}
	return friction, alpha
}
