// Package explain owns the answer to one timed reading at the tube, and its
// working as a teacher would write it on the board.
//
//	Reading (quantities as given) → Solve → Answer → Short (a few lines), Working (every step) or JSON
//
// It computes nothing new: water, pipe, collection and uncertainty do. It reads
// no units and no command line, and does not say what the dye shows.
package explain

import (
	"fmt"
	"math"

	"flowrigd/calc/collection"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// Given is one quantity as a person wrote it and as it is used. The zero value
// is not given.
type Given struct {
	uncertainty.Value        // SI or degrees Celsius; U is NaN where no ± was written
	Text              string // all of it, "13 mm ± 0.05 mm"
	Number            string // "13"
	Factor, Offset    float64
}

// IsGiven reports whether the quantity was given.
func (g Given) IsGiven() bool { return g.Text != "" }

// stated reports whether an uncertainty was given.
func (g Given) stated() bool { return !math.IsNaN(g.U) }

// Reading is what was read at the tube: Flow, or Volume and Time in its place;
// Temperature and Bore; the rest as known. The limits are Reynolds numbers.
type Reading struct {
	Flow, Volume, Time           Given // m³/s, m³, s
	Temperature, Bore            Given // °C, m
	Length, Roughness, Head      Given // m
	Ambient                      Given // °C, of the room; with it goes Length
	Outer, WatchedAt             Given // m, outer diameter and where the dye is watched
	Orientation                  pipe.Orientation
	Vessel                       Vessel // of Volume
	VesselTemperature            Given  // °C, of the vessel and the water in it
	LaminarBelow, TurbulentAbove float64
}

// glass is the wall where nothing is said of it: drawn glass, 0.0015 mm, known
// no better than to its own size (common practice, no source).
var glass = uncertainty.Expanded(1.5e-6, 1.5e-6, 2)

// Answer is what follows from a reading.
type Answer struct {
	Set quantity.Set // every row that can be known from one reading

	reading   Reading
	flow      pipe.Input
	water     water.Properties
	collected *collection.Result // nil where the flow was given
	byHand    bool               // the stopwatch's own budget stands for a ± of the time
	budget    []uncertainty.Contribution
	warnings  pipe.Warnings
	friction  uncertainty.Value // as the loss coefficient has it
	alpha     uncertainty.Value
	tube      pipe.Tube
}

// Solve computes everything. The error names the quantity that is out of range.
func Solve(r Reading) (*Answer, error) {
	a := &Answer{reading: r}
	w, err := water.At(r.Temperature.X)
	if err != nil {
		return nil, err
	}
	a.water = w
	if err := a.takeFlow(); err != nil {
		return nil, err
	}
	p, err := pipe.New(a.rig())
	if err != nil {
		return nil, err
	}
	a.derive(p)
	if _, known := a.Set.Get(quantity.Reynolds); !known {
		return nil, fmt.Errorf("reading: a flow of %g m³/s: no Reynolds number follows; give a flow above 0", a.flow.X)
	}
	return a, nil
}

func (a *Answer) rig() pipe.Rig {
	r := a.reading
	rig := pipe.Rig{
		Bore: r.Bore.Value, Length: r.Length.Value, Roughness: a.wall(),
		LaminarBelow: r.LaminarBelow, TurbulentAbove: r.TurbulentAbove,
	}
	if !r.Length.IsGiven() {
		// Any length will do: what depends on it is taken out again.
		rig.Length = uncertainty.Value{X: 1}
	}
	if a.cools() {
		rig.Outer, rig.WatchedAt, rig.Orientation = a.outer(), a.watchedAt(), r.Orientation
	}
	return rig
}

// wall is the roughness given, or that of glass.
func (a *Answer) wall() uncertainty.Value {
	if a.reading.Roughness.IsGiven() {
		return a.reading.Roughness.Value
	}
	return glass
}

func (a *Answer) derive(p *pipe.Pipe) {
	r := a.reading
	in := pipe.Inputs{
		Flow:        a.flow,
		Temperature: pipe.Input{Value: r.Temperature.Value, Known: true},
		Level:       pipe.Input{Value: r.Head.Value, Known: r.Head.IsGiven() && r.Length.IsGiven()},
	}
	if a.cools() {
		in.Ambient = pipe.Input{Value: a.room(), Known: true}
	}
	result := p.Derive(in, &a.Set)
	a.warnings, a.friction, a.alpha, a.tube = result.Warnings, result.Friction, result.Alpha, result.Tube
	if a.cools() {
		if w, err := water.At(a.celsius()); err == nil {
			a.water = w
		}
	}
	if !r.Length.IsGiven() {
		a.Set.Clear(quantity.Developed)
		a.warnings &^= pipe.NotDeveloped
	}
	if r.Head.IsGiven() {
		a.Set.Put(quantity.Head, r.Head.X)
	}
	a.Set.Put(quantity.Flow, a.flow.X)
	a.Set.Put(quantity.Temperature, r.Temperature.X)
	a.budget = a.withCollection(p.Budget(in))
}

// value is a row of the answer; NaN where it is unknown.
func (a *Answer) value(id quantity.ID) float64 {
	if v, known := a.Set.Get(id); known {
		return v
	}
	return math.NaN()
}
