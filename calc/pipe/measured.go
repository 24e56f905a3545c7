package pipe

import (
	"math"

	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// Drop is what a differential pressure transmitter shows between the ends of the tube,
// its high side upstream, and what its reading is worked up with.
type Drop struct {
	Pressure Input             // Pa
	Flow     Input             // m³/s
	Density  uncertainty.Value // of the water in the tube, kg/m³
	Room     uncertainty.Value // °C, of the water in the two filled legs
}

// MeasuredFriction is the Darcy friction factor f = Δp·2D/(ρ·v²·L) with v = 4Q/(πD²), so
// that f goes with the fifth power of the bore, and its standard uncertainty (JCGM
// 100:2008, 5.1.2, equation 10). Of a vertical tube the weight of the water in it is
// balanced by that in the legs but for their densities: with the legs at the room's
// temperature the reading is Δp + (ρ_room − ρ)·g·L in a flow downward and Δp less that in
// one upward, which is taken off here. ok is false without flow, and where Δp is not
// larger than its expanded uncertainty (k = 2). An uncertainty that was never stated
// gives a friction factor whose uncertainty is NaN.
func (p *Pipe) MeasuredFriction(d Drop) (f uncertainty.Value, ok bool) {
	if !d.Pressure.usable() || !p.flowing(d.Flow) || !(d.Density.X > 0) {
		return uncertainty.Value{}, false
	}
	length := p.rig.Length
	sign := map[Orientation]float64{VerticalDown: 1, VerticalUp: -1}[p.rig.Orientation]
	weight := sign * Gravity * length.X // Pa per kg/m³
	legs, legsU := d.Density.X, 0.0
	if sign != 0 {
		w, err := water.At(d.Room.X)
		if err != nil {
			return uncertainty.Value{}, false
		}
		legs, legsU = w.Density, w.Density*math.Abs(w.Expansion)*d.Room.U
	}
	drop := d.Pressure.X - weight*(legs-d.Density.X)
	dropU := uncertainty.Quadrature(d.Pressure.StandardU(), weight*legsU, weight*d.Density.U, weight*(legs-d.Density.X)*length.Relative())
	if !(drop > 0) || drop <= 2*dropU {
		return uncertainty.Value{}, false
	}
	v := Velocity(d.Flow.X, p.bore)
	f.X = drop * 2 * p.bore / (d.Density.X * v * v * length.X)
	f.U = f.X * uncertainty.Quadrature(
		d.Pressure.StandardU()/drop,
		weight*legsU/drop,
		(weight/drop-1/d.Density.X)*d.Density.U,
		(weight*(legs-d.Density.X)/drop+1)*length.Relative(),
		5*p.relativeBoreU,
		2*d.Flow.StandardU()/d.Flow.X,
	)
	return f, true
}
