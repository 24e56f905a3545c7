// Package heat owns the heat that water in a bare glass tube loses to a cooler
// room, or takes up from a warmer one: how far its temperature falls on the way,
// and how much colder the wall is than the water.
//
//	Tube + water, room, flow → Exchange (heat through the wall) → Fall at a distance from the inlet, with its slopes
//
// Outside there is free convection and radiation, then the glass, inside the flow's
// own coefficient. It keeps no history: the tube's wall is taken as settled. It knows
// no lagging, no sun, no fan: a draught stands in the uncertainty.
package heat

import (
	"errors"
	"fmt"
	"math"

	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

const (
	zeroCelsius = 273.15 // K
	gravity     = 9.80665

	// glass is the conductivity of the wall, W/(m K): 1.0 to 1.2 for borosilicate
	// and soda-lime glass (handbook values, from memory).
	glass = 1.1
)

// The doubt about the outer convection, as parts of it. A correlation of free
// convection is good to some 15 %, taken as limits of error. A draught in a hall
// doubles it (common practice, no source): it only ever adds, how much is not known,
// so every share from nothing to a doubling is taken as equally likely. The fall stays
// that of still air and is not moved to the middle of that range; the mean square
// about still air, 1/3, is what stands for the draught then (JCGM 100:2008, F.2.4.5,
// from memory: a known bias that is not corrected is added in).
const (
	correlationLimits = 0.15
	draughtLimit      = 1.0
)

// Tube is a straight tube without lagging. Lengths in metres with their standard
// uncertainties.
type Tube struct {
	Bore, Outer uncertainty.Value // inner and outer diameter
	Length      uncertainty.Value
	Vertical    bool // else horizontal
}

// Wall is a checked Tube with what can be computed once. It is not changed by use.
type Wall struct {
	tube        Tube
	outside     outside
	glass       float64 // thermal resistance of the glass, K m/W
	boreU       float64 // relative
	outerU      float64
	lengthRatio float64 // D/L
}

// New checks a tube. The error says what is out of range.
func New(t Tube) (*Wall, error) {
	err := errors.Join(
		within("bore", t.Bore.X, 1e-4, 1, "give the inner diameter of the tube"),
		within("outer", t.Outer.X, t.Bore.X, t.Bore.X+1, "give the outer diameter of the tube, which is more than the bore"),
		within("length", t.Length.X, 1e-3, 100, "give the length of the tube"),
	)
	if err == nil && t.Outer.X == t.Bore.X {
		err = fmt.Errorf("outer: %g m is the bore: give the outer diameter of the tube, which is more", t.Outer.X)
	}
	if err != nil {
		return nil, err
	}
	return &Wall{
		tube:        t,
		outside:     newOutside(t),
		glass:       math.Log(t.Outer.X/t.Bore.X) / (2 * math.Pi * glass),
		boreU:       t.Bore.Relative(),
		outerU:      t.Outer.Relative(),
		lengthRatio: t.Bore.X / t.Length.X,
	}, nil
}

func within(name string, x, low, high float64, remedy string) error {
	if x >= low && x <= high {
		return nil
	}
	return fmt.Errorf("%s: %g m is outside %g to %g m: %s", name, x, low, high, remedy)
}

// Stream is the water that enters the tube.
type Stream struct {
	Water     *water.Properties // at the inlet's temperature
	Celsius   float64           // at the inlet
	Room      float64           // air and walls, °C
	Flow      float64           // m³/s; none at all from 0 down, unknown where NaN
	Turbulent bool
}

// Exchange is the heat between a stream and the room. The coefficients are those at
// the inlet: where half of the difference is lost on the way the fall is some 5 % too
// large by that, within the correlation's own 15 %.
type Exchange struct {
	difference  float64 // water less room, K
	conductance float64 // of the whole wall, W/(m K)
	capacity    float64 // ρ·Q·c_p, W/K
	inside      float64 // W/(m² K)
	glass       float64 // K m/W
	bore        float64 // m
	slopes      slopes  // of difference·ln(conductance)
}

// slopes are those of difference·ln(conductance), K, with the difference held: for a
// change of the difference and of the room in kelvin, of the others relative.
type slopes struct{ difference, room, convection, outer, bore, flow float64 }

// Exchange solves for the outer wall's temperature by three steps of Newton's, which
// is always enough: the heat given off rises a little faster than the difference, so
// that the equation is nearly a straight line. Water and room as in the Stream, both
// of −20 to 110 °C.
func (w *Wall) Exchange(s Stream) Exchange {
	flow := math.Max(0, s.Flow)
	conductivity := s.Water.Conductivity()
	in := inside(&s, flow, w.tube.Bore.X, w.lengthRatio, conductivity)
	film := 1 / (math.Pi * in.nusselt * conductivity) // K m/W
	resistance := film + w.glass
	e := Exchange{
		difference: s.Celsius - s.Room,
		capacity:   s.Water.Density * flow * s.Water.HeatCapacity,
		inside:     in.nusselt * conductivity / w.tube.Bore.X,
		glass:      w.glass,
		bore:       w.tube.Bore.X,
	}
	rise := e.difference // of the outer wall over the room
	var out surface
	around := math.Pi * w.tube.Outer.X
	for range 2 {
		out = w.outside.at(s.Room+zeroCelsius, rise)
		held := resistance * around * out.coefficient
		rise -= (rise*(1+held) - e.difference) / (1 + held*out.power)
	}
	out = w.outside.at(s.Room+zeroCelsius, rise)
	e.conductance = 1 / (resistance + 1/(around*out.coefficient))
	e.slopes = out.slopes(rise, resistance*around*out.coefficient)
	perMetre := e.conductance * e.difference * e.slopes.difference
	e.slopes.outer -= perMetre / (2 * math.Pi * glass)
	e.slopes.bore = perMetre / (2 * math.Pi * glass)
	e.slopes.flow = perMetre * film * in.power
	e.slopes.difference--
	return e
}

// Coefficient is the heat transfer from water to room on the bore's surface,
// W/(m² K).
func (e *Exchange) Coefficient() float64 { return e.conductance / (math.Pi * e.bore) }

// Parts are the coefficients of the outside, the glass and the inside that make it up,
// all on the bore's surface, W/(m² K): 1/U is the sum of their reciprocals.
func (e *Exchange) Parts() (outside, wall, inner float64) {
	around := math.Pi * e.bore
	wall, inner = 1/(e.glass*around), e.inside
	return 1 / (1/e.Coefficient() - 1/wall - 1/inner), wall, inner
}

// Fall is how far the water's mixed temperature has fallen on its way, in kelvin,
// negative where the room warms it; with its slopes, which JCGM 100:2008, 5.1.3 asks
// for. Without flow it is all of the difference.
type Fall struct {
	Kelvin        float64
	Celsius, Room float64 // K for 1 K of inlet or room
	// K for a relative change of 1 of the outer convection, of the outer diameter,
	// of the bore and of the flow.
	Convection, Outer, Bore, Flow float64
	Distance                      float64 // K for 1 m of way
}

// Fall is that at a distance from the inlet in metres: (T − Tₐ)·(1 − exp(−UA/(ρQc_p))).
func (e *Exchange) Fall(distance float64) Fall {
	if distance <= 0 {
		return Fall{}
	}
	units := e.conductance * distance / e.capacity
	lost, steep := -math.Expm1(-units), units*math.Exp(-units)
	if math.IsInf(units, 1) || units > 700 {
		lost, steep = 1, 0
	}
	d := &e.slopes
	return Fall{
		Kelvin:     e.difference * lost,
		Celsius:    lost + steep*d.difference,
		Room:       -lost + steep*(d.room-d.difference),
		Convection: steep * d.convection,
		Outer:      steep * d.outer,
		Bore:       steep * d.bore,
		Flow:       steep * (d.flow - e.difference),
		Distance:   e.difference * steep / distance,
	}
}

// BulkOverWall is how much warmer the mixed water is than the wall's inner surface at
// a distance from the inlet, K.
func (e *Exchange) BulkOverWall(distance float64) float64 {
	left := e.difference - e.Fall(distance).Kelvin
	return left * e.conductance / (math.Pi * e.bore * e.inside)
}

// OwnU is the standard uncertainty of a fall from what belongs to the heat alone, K:
// correlation and draught, outer diameter, the room's u in kelvin and the distance's in
// metres. Inlet, bore and flow enter elsewhere too, so their slopes are to be added to
// what they do there before anything is squared.
func (w *Wall) OwnU(f *Fall, room, distance float64) float64 {
	return uncertainty.Quadrature(
		f.Convection*correlationLimits/math.Sqrt(3), f.Convection*draughtLimit/math.Sqrt(3),
		f.Outer*w.outerU, f.Room*room, f.Distance*distance)
}

// U is the whole standard uncertainty of a fall, K: what is its own, the inlet's in
// kelvin and the flow's relative one.
func (w *Wall) U(f *Fall, own, celsius, flow float64) float64 {
	return uncertainty.Quadrature(own, f.Celsius*celsius, f.Flow*flow, f.Bore*w.boreU)
}
