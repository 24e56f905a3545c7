package explain

import (
	"math"

	"flowrigd/calc/heat"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// cools reports whether it is known what the water loses on its way to the dye.
func (a *Answer) cools() bool { return a.reading.Ambient.IsGiven() && a.reading.Length.IsGiven() }

// What stands in for a ± that nobody wrote: a room is known to 2 K, a place along the
// tube to 10 mm, a wall that was measured to 0.1 mm; and of a tube of which nothing is
// said the wall is 1.5 mm ± 0.5 mm (common practice, no source).
const (
	roomExpanded      = 2.0
	watchedAtExpanded = 0.010
	outerExpanded     = 0.0001
	wallsUsual        = 0.003
	wallsExpanded     = 0.001
)

// orExpanded is what was given, with an expanded uncertainty where none was.
func orExpanded(g Given, expanded float64) uncertainty.Value {
	if g.stated() {
		return g.Value
	}
	return uncertainty.Expanded(g.X, expanded, 2)
}

func (a *Answer) room() uncertainty.Value { return orExpanded(a.reading.Ambient, roomExpanded) }

func (a *Answer) outer() uncertainty.Value {
	if r := a.reading; !r.Outer.IsGiven() {
		return uncertainty.Expanded(r.Bore.X+wallsUsual, wallsExpanded, 2)
	}
	return orExpanded(a.reading.Outer, outerExpanded)
}

func (a *Answer) watchedAt() uncertainty.Value {
	if r := a.reading; !r.WatchedAt.IsGiven() {
		return uncertainty.Expanded(r.Length.X/2, watchedAtExpanded, 2)
	}
	return orExpanded(a.reading.WatchedAt, watchedAtExpanded)
}

// celsius is the water's temperature at the dye.
func (a *Answer) celsius() float64 {
	if t := a.tube.Celsius; !math.IsNaN(t) {
		return t
	}
	return a.reading.Temperature.X
}

// writeHeat is what the water loses on its way, where the room is known.
func (a *Answer) writeHeat(p *paper) {
	if !a.cools() {
		return
	}
	r, place := a.reading, a.watchedAt().X
	inlet, _ := water.At(r.Temperature.X)
	wall, err := heat.New(heat.Tube{Bore: r.Bore.Value, Outer: a.outer(), Length: r.Length.Value, Vertical: r.Orientation != pipe.Horizontal})
	if err != nil {
		return // Solve has refused it
	}
	turbulent := pipe.Reynolds(a.flow.X, r.Bore.X, inlet.KinematicViscosity) > r.TurbulentAbove
	e := wall.Exchange(heat.Stream{Water: &inlet, Celsius: r.Temperature.X, Room: r.Ambient.X, Flow: a.flow.X, Turbulent: turbulent})
	outside, glass, inside := e.Parts()
	fall := e.Fall(place)
	p.heading("What the water loses on its way to the dye")
	p.line("The room has Ta = %s °C, the tube Do = %s m outside; the dye is watched at x = %s m.", num(r.Ambient.X, 4), num(a.outer().X, 4), num(place, 4))
	if !r.Ambient.stated() || !r.Outer.stated() || !r.WatchedAt.stated() {
		p.prose("Where no ± is written the room is taken as known to ± 2 K, the place to ± 10 mm, the outer diameter to ± 0.1 mm; " +
			"of a tube without outer diameter the wall is taken as 1.5 mm ± 0.5 mm (k = 2; common practice, no source).")
	}
	p.line("1/U = 1/h(outside) + 1/h(glass) + 1/h(inside), all on the bore's surface, W/(m²·K)")
	p.line("    = 1/%s + 1/%s + 1/%s,  U = %s W/(m²·K)", num(outside, 4), num(glass, 4), num(inside, 4), num(e.Coefficient(), 4))
	p.line("fall = (T − Ta)·(1 − exp(−U·π·D·x / (ρ·Q·cp)))")
	p.line("  U·π·D·x = %s × π × %s × %s = %s W/K", num(e.Coefficient(), 4), num(r.Bore.X, 6), num(place, 4), num(e.Coefficient()*math.Pi*r.Bore.X*place, 4))
	p.line("  ρ·Q·cp  = %s × %s × %s = %s W/K", num(inlet.Density, 5), num(a.flow.X, 5), num(inlet.HeatCapacity, 5), num(inlet.Density*a.flow.X*inlet.HeatCapacity, 4))
	p.line("  fall    = %s K, so that the water at the dye has %s − %s = %s °C", num(fall.Kelvin, 4), num(r.Temperature.X, 5), num(fall.Kelvin, 4), num(a.celsius(), 5))
	p.prose("h(outside) is free convection and the glass's radiation, good to some 15 %%; a draught can double the convection. By that and the room the fall is known to ± %s K (k = 2).",
		num(2*wall.OwnU(&fall, a.room().U, a.watchedAt().U), 2))
	a.writeProfile(p)
}

// writeProfile is Gr/Re and what it says of a laminar profile.
func (a *Answer) writeProfile(p *paper) {
	p.line("Gr/Re = g·β·ΔT·D³ / (ν²·Re) = %s, with ΔT = %s K between water and wall at the outlet",
		num(a.value(quantity.GrashofReynoldsRatio), 3), num(a.tube.BulkOverWall, 3))
	switch text := a.tube.Profile.String(); {
	case text != "":
		p.prose("%s.", sentence(text))
	case a.tube.Profile == pipe.Parabola:
		p.prose("Up to 10 a laminar profile is a parabola to some 5 %% of its friction.")
	}
}
