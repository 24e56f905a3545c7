package experiment

import (
	"fmt"
	"math"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
	"flowrigd/config"
	"flowrigd/daq"
)

// Progress is how far the experiment has come; nil where none runs.
func (n *Notebook) Progress(s *daq.State) *daq.Progress {
	if n.run == nil {
		return nil
	}
	now := n.run.next(s)
	out := &daq.Progress{ID: n.run.id, Name: n.run.name}
	for i := range n.run.plan.Points {
		p := &n.run.plan.Points[i]
		state := daq.PointWaiting
		switch name := p.Name(); {
		case n.run.good[name]:
			state = daq.PointCaptured
		case p == now:
			state = daq.PointNow
		case n.run.count[name] > 0:
			state = daq.PointSpoilt
		}
		out.Points = append(out.Points, daq.PointOutlook{Number: i + 1, Name: p.Name(), Temperature: p.Temperature,
			Reynolds: p.Reynolds, Flow: n.flowOf(p), State: state})
	}
	if celsius, known := s.Values.Get(quantity.Temperature); known {
		out.Remaining = n.run.remaining(celsius)
	}
	out.Next = n.advise(now, s)
	return out
}

// flowOf is the flow that gives a condition at its temperature, m³/s.
func (n *Notebook) flowOf(p *config.PlannedPoint) float64 {
	w, err := water.At(p.Temperature)
	if err != nil { // the plan has been checked
		return 0
	}
	return pipe.LimitFlow(p.Reynolds, n.cfg.Tube.Bore.X, w.KinematicViscosity)
}

// next is the condition to do next: one that is met, one of this temperature, the
// nearest warmer one, the nearest; nil where all is done.
func (r *running) next(s *daq.State) (best *config.PlannedPoint) {
	celsius, known := s.Values.Get(quantity.Temperature)
	rank := func(p *config.PlannedPoint) float64 {
		off := p.Temperature - celsius
		switch {
		case !known:
			return 0
		case math.Abs(off) <= warmthWithin && flowMet(p, s):
			return -1
		case math.Abs(off) <= warmthWithin:
			return 0
		case off > 0:
			return off
		}
		return 1000 - off
	}
	for i := range r.plan.Points {
		p := &r.plan.Points[i]
		if !r.good[p.Name()] && (best == nil || rank(p) < rank(best)) {
			best = p
		}
	}
	return best
}

// advise says what a person does now. While an alarm stands that could be of the
// heating, it names that alone.
func (n *Notebook) advise(p *config.PlannedPoint, s *daq.State) string {
	if name := standing(s); name != "" {
		return "look at the alarm first: " + name
	}
	celsius, known := s.Values.Get(quantity.Temperature)
	_, flows := s.Values.Get(quantity.Flow)
	switch {
	case p == nil:
		return "nothing is left to do"
	case !known || !flows:
		return "wait until flow and temperature are read"
	}
	if math.Abs(celsius-p.Temperature) > warmthWithin {
		return n.adviseWarmth(p.Temperature, celsius, s)
	}
	if !flowMet(p, s) {
		return "set the valve to " + litres(n.run.told.hold(p.Name(), n.flowNow(p, s))) + " for " + p.Name()
	}
	if why := n.spoiltWithin(s, s.Mono-n.window()); why != "" && why != "not steady" {
		return "wait a minute, " + p.Name() + " is set: " + why
	}
	if seconds, known := s.Values.Get(quantity.SettlingSeconds); known {
		return fmt.Sprintf("wait until steady at %s: about %.0f s", p.Name(), math.Ceil(seconds/5)*5)
	}
	return "wait until steady at " + p.Name()
}

// standing names the alarm that comes before everything else; "" for none.
func standing(s *daq.State) string {
	for _, a := range s.Alarms {
		if (a.Trips || a.Priority == "high") && (a.Active || a.CauseStands) {
			return a.Name
		}
	}
	if len(s.Tripped) > 0 {
		return s.Tripped[0]
	}
	return ""
}

// adviseWarmth never asks for cold water: the heater is set lower, and the tank cools.
func (n *Notebook) adviseWarmth(want, celsius float64, s *daq.State) string {
	rate, known := s.Values.Get(quantity.TemperatureRate)
	off := want - celsius
	switch {
	case known && math.Abs(rate) > movingAbove && rate*off > 0:
		return fmt.Sprintf("wait: %.1f K to go, about %.0f min", math.Abs(off), math.Max(1, math.Ceil(off/rate/60)))
	case off < 0:
		return fmt.Sprintf("lower the heater to %.0f °C step by step, and leave the water supply as it is: %.1f K to go", want, -off)
	case n.cfg.Trip != nil && !s.Permit:
		return fmt.Sprintf("heating is not permitted: look why, give the heating permit, and raise the heater to %.0f °C", want)
	}
	return fmt.Sprintf("raise the heater to %.0f °C: %.1f K to go", want, off)
}

// flowNow is the flow that gives the condition in the water of now.
func (n *Notebook) flowNow(p *config.PlannedPoint, s *daq.State) float64 {
	if limit, known := s.Values.Get(quantity.LaminarLimitFlow); known {
		return limit * p.Reynolds / n.cfg.Regime.LaminarBelow
	}
	return n.flowOf(p)
}

// toldShare is how far the flow to set may move before another is told: the water's
// temperature scatters, and a figure that changes while a hand is on the valve cannot be met
// (own choice: a third of what a planned Re is met within).
const toldShare = 0.01

// told is the flow that a person was told to set last.
type told struct {
	point string
	flow  float64 // m³/s; 0 before the first
}

// hold is the flow to tell for a condition.
func (t *told) hold(point string, flow float64) float64 {
	if t.point != point || math.Abs(flow-t.flow) > toldShare*t.flow {
		*t = told{point, flow}
	}
	return t.flow
}

func litres(flow float64) string { return fmt.Sprintf("%.2f L/min", 6e4*flow) }
