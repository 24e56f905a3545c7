package pipe

import (
	"math"

	"flowrigd/calc/heat"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// atDye is the water where the dye is watched, and what it went through on the way.
type atDye struct {
	water   water.Properties
	liquid  bool
	celsius float64
	flow    float64 // m³/s
	fall    heat.Fall
	ownU    float64 // K, of the fall
	tube    Tube
	// Of the water in the meter: the slope of ln Q, 1/K, its standard uncertainty in
	// kelvin and what both make, relative.
	meterSlope, meterKelvin, meterU float64
}

// Tube is what the room does to the water in the tube. NaN is unknown; all of it is
// where there is no flow, no outer diameter, or no temperature of the room.
type Tube struct {
	Celsius, CelsiusU float64 // of the water where the dye is watched, °C and K
	FallToDye         float64 // K, from the inlet to where the dye is watched
	Fall, FallU       float64 // K, from inlet to outlet, below 0 where the room warms the water
	BulkOverWall      float64 // K, water less wall at the outlet
	GrashofReynolds   float64 // Gr/Re on the bore and the size of BulkOverWall, 0 or more
	Profile           Profile
}

func unknownTube() Tube {
	nan := math.NaN()
	return Tube{Celsius: nan, CelsiusU: nan, FallToDye: nan, Fall: nan, FallU: nan, BulkOverWall: nan, GrashofReynolds: nan}
}

// inlet is the water that enters the tube; not liquid where its temperature is unknown
// too.
func (p *Pipe) inlet(t Input) (w water.Properties, liquid bool) {
	// Asked before At, whose error would be allocated at every state.
	if !t.usable() || !water.Liquid(t.X) {
		return w, false
	}
	w, _ = water.At(t.X)
	return w, true
}

// room is the temperature around the tube: the measured one, else the assumed one.
func (p *Pipe) room(in *Inputs) (Input, bool) {
	if in.Ambient.usable() && inRoom(in.Ambient.X) {
		return in.Ambient, true
	}
	return p.rig.Room, p.rig.Room.usable()
}

// atDye follows a flow from the inlet to the dye.
func (p *Pipe) atDye(in *Inputs, inlet *water.Properties) atDye {
	d := atDye{water: *inlet, liquid: true, celsius: in.Temperature.X, flow: in.Flow.X, tube: unknownTube()}
	if in.OnTheWay.X != 0 {
		d.celsius += in.OnTheWay.X
	}
	if room, known := p.room(in); known && p.wall != nil {
		p.cool(&d, in, &room, inlet)
	}
	if d.celsius != in.Temperature.X {
		if d.liquid = water.Liquid(d.celsius); !d.liquid {
			return d
		}
		d.water, _ = water.At(d.celsius)
	}
	p.throughMeter(&d, in)
	return d
}

func (p *Pipe) cool(d *atDye, in *Inputs, room *Input, inlet *water.Properties) {
	re := Reynolds(in.Flow.X, p.bore, inlet.KinematicViscosity)
	e := p.wall.Exchange(heat.Stream{
		Water: inlet, Celsius: in.Temperature.X, Room: room.X, Flow: in.Flow.X, Turbulent: re > p.rig.TurbulentAbove,
	})
	length, u := p.rig.Length.X, room.StandardU()
	whole := e.Fall(length)
	d.fall = e.Fall(p.rig.WatchedAt.X)
	d.ownU = p.wall.OwnU(&d.fall, u, p.rig.WatchedAt.U)
	d.celsius -= d.fall.Kelvin
	inletU, flowU := in.Temperature.StandardU(), in.Flow.StandardU()/in.Flow.X
	toDye := d.fall
	toDye.Celsius-- // the dye's temperature is the inlet's less the fall
	d.tube = Tube{
		Celsius:      d.celsius,
		CelsiusU:     uncertainty.Quadrature(p.wall.U(&toDye, d.ownU, inletU, flowU), in.OnTheWay.U),
		FallToDye:    d.fall.Kelvin,
		Fall:         whole.Kelvin,
		FallU:        p.wall.U(&whole, p.wall.OwnU(&whole, u, p.rig.Length.U), inletU, flowU),
		BulkOverWall: e.BulkOverWall(length),
	}
	p.bend(&d.tube, re, inlet)
}

// throughMeter turns what the meter counted into the volume at the dye, where the
// water in the meter has another temperature: the mass is the same.
func (p *Pipe) throughMeter(d *atDye, in *Inputs) {
	if !in.Meter.usable() || !water.Liquid(in.Meter.X) {
		return
	}
	density, expansion := water.Density(in.Meter.X)
	d.flow *= density / d.water.Density
	d.meterSlope, d.meterKelvin = -expansion, in.Meter.StandardU()
	d.meterU = math.Abs(expansion) * d.meterKelvin
}

// Velocity is the mean velocity in this tube, m/s, of a flow in m³/s.
func (p *Pipe) Velocity(flow float64) float64 { return Velocity(flow, p.bore) }

// Settling is the least time in seconds from a change of the flow until the tube can
// be steady again: three passages of its length, and the viscous time R²/(5.783·ν) in
// which the slowest part of a laminar profile fades (the square of the first zero of
// the Bessel function J₀, 2.4048). Infinite without flow. The three are common practice, no source.
func (p *Pipe) Settling(flow, kinematicViscosity float64) float64 {
	radius := p.bore / 2
	return 3*p.rig.Length.X/Velocity(math.Max(0, flow), p.bore) + radius*radius/(5.783*kinematicViscosity)
}
