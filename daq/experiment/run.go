package experiment

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// A planned condition is met within these (own choice: the thermometer of a bench is
// good to 1.5 K, the water in the tank differs by 1 K, and Re is computed from what is
// measured anyway).
const (
	warmthWithin   = 3.0  // K
	reynoldsWithin = 0.03 // of Re
	sureOfRegime   = 0.95 // probability that Re lies in the band
)

// running is the experiment that is under way.
type running struct {
	id, name string
	plan     config.Plan
	count    map[string]int64 // test points by their condition, spoilt ones too
	good     map[string]bool  // the condition has one that nothing speaks against
	pace     pace
	told     told
}

// experiment is the ID of the one that runs; "" for none.
func (n *Notebook) experiment() string {
	if n.run == nil {
		return ""
	}
	return n.run.id
}

// begin starts a plan of the configuration, or one of the person's own.
func (n *Notebook) begin(a *daq.StartExperimentAsk, s *daq.State, who string) (*daq.Experiment, error) {
	if n.run != nil {
		return nil, fmt.Errorf("experiment %s (%s) runs: stop it, or wait until it is done", n.run.id, n.run.name)
	}
	plan, err := n.planned(a)
	if err != nil {
		return nil, daq.Wrong{Err: err}
	}
	n.run = newRunning(s.Time.UTC().Format("20060102-150405.000"), plan)
	n.observations = nil // those of another run say nothing of this one
	return n.turned("started", s, who), nil
}

func newRunning(id string, plan config.Plan) *running {
	return &running{id: id, name: plan.Name, plan: plan, count: map[string]int64{}, good: map[string]bool{}}
}

func (n *Notebook) planned(a *daq.StartExperimentAsk) (config.Plan, error) {
	if a.Own != nil {
		return n.cfg.NewPlan(*a.Own)
	}
	var names []string
	for _, p := range n.cfg.Plans {
		if p.Name == a.Plan {
			return p, nil
		}
		names = append(names, fmt.Sprintf("%q", p.Name))
	}
	if len(names) == 0 {
		return config.Plan{}, fmt.Errorf("plan %q: the configuration has none: write [[plan]] there, or send a plan of your own", a.Plan)
	}
	return config.Plan{}, fmt.Errorf("plan %q: there is none of that name; there is %s", a.Plan, listed(names))
}

func listed(names []string) string {
	text := ""
	for i, name := range names {
		if i > 0 {
			text += ", "
		}
		text += name
	}
	return text
}

func (n *Notebook) stop(a *daq.StopExperimentAsk, s *daq.State, who string) (*daq.Experiment, error) {
	switch {
	case n.run == nil:
		return nil, errors.New("no experiment runs")
	case a.Experiment != n.run.id:
		return nil, fmt.Errorf("%q does not run; %s does", a.Experiment, n.run.id)
	}
	x := n.turned("stopped", s, who)
	n.run = nil
	return x, nil
}

// turned is the experiment's transition.
func (n *Notebook) turned(action string, s *daq.State, who string) *daq.Experiment {
	plan, err := json.Marshal(n.run.plan)
	if err != nil { // numbers and texts alone
		plan = []byte("null")
	}
	return &daq.Experiment{Time: s.Time, Who: who, ID: n.run.id, Name: n.run.name, Action: action, Plan: plan}
}

// advance captures what the rig is steady at, and ends an experiment that has it all.
func (n *Notebook) advance(s *daq.State) (events []daq.Event) {
	if n.run == nil {
		return nil
	}
	n.run.pace.see(s)
	if p := n.run.met(s, n.cfg); p != nil && n.spoiltWithin(s, s.Mono-n.window()) == "" {
		if point, err := n.Capture(s, "", p.Name()); err == nil {
			n.run.pace.captured(s.Mono)
			events = append(events, daq.Event{TestPoint: point})
		}
	}
	if n.run.left() == 0 {
		events = append(events, daq.Event{Experiment: n.turned("done", s, "")})
		n.run = nil
	}
	return events
}

// file counts a test point of the run, and says how many there were before.
func (r *running) file(point, spoilt string) (before int64) {
	before = r.count[point]
	r.count[point]++
	if spoilt == "" {
		r.good[point] = true
	}
	return before
}

// left counts the conditions that are not captured yet.
func (r *running) left() (count int) {
	for i := range r.plan.Points {
		if !r.good[r.plan.Points[i].Name()] {
			count++
		}
	}
	return count
}

// met is the nearest of the conditions left that the rig is at; nil for none.
func (r *running) met(s *daq.State, cfg *config.Config) (nearest *config.PlannedPoint) {
	off := math.Inf(1)
	for i := range r.plan.Points {
		p := &r.plan.Points[i]
		celsius, known := s.Values.Get(quantity.Temperature)
		if r.good[p.Name()] || !known || math.Abs(celsius-p.Temperature) >= off || math.Abs(celsius-p.Temperature) > warmthWithin || !flowMet(p, s) {
			continue
		}
		nearest, off = p, math.Abs(celsius-p.Temperature)
	}
	return nearest
}

// flowMet says whether the flow is the planned one.
func flowMet(p *config.PlannedPoint, s *daq.State) bool {
	if p.Regime != 0 {
		id := map[quantity.Band]quantity.ID{quantity.Laminar: quantity.ProbabilityBelow, quantity.Transitional: quantity.ProbabilityBetween,
			quantity.Turbulent: quantity.ProbabilityAbove}[p.Regime]
		probability, known := s.Values.Get(id)
		return known && probability >= sureOfRegime
	}
	re, known := s.Values.Get(quantity.Reynolds)
	return known && math.Abs(re-p.Reynolds) <= reynoldsWithin*p.Reynolds
}

// Restore takes up the experiment that ran when the program ended.
func (n *Notebook) Restore(r *daq.Remembered) {
	if r == nil {
		return
	}
	n.run = newRunning(r.ID, r.Plan)
	for _, p := range r.Points {
		n.run.file(p.Point, p.Spoilt)
	}
	for _, o := range r.Observations {
		band, ok := quantity.ParseBand(o.Seen)
		if ok {
			n.observations = append(n.observations, seen{o.Time, r.ID, band, o.Approach, o.Reynolds, o.Celsius, o.U})
		}
	}
	n.observations = n.observations[max(0, len(n.observations)-observationsKept):]
}

// struck lets a condition be taken again whose test point was struck.
func (n *Notebook) struck(a *daq.StrikeAsk) {
	if n.run != nil && a.Of == daq.KindTestPoint && a.Experiment == n.run.id {
		delete(n.run.good, a.Point)
	}
}

// pace is how fast the rig was seen to go.
type pace struct {
	last          time.Duration // the newest look; 0 before
	moved, moving float64       // K, and s, in which the temperature moved
	since         time.Duration // a capture, or the start
	between       []float64     // s from one capture to the next, without those of a temperature's change
	changing      float64       // s of that since the last capture
}

// movingAbove is the rate of a temperature on its way, K/s: 0.3 K/min.
const movingAbove = 0.005

func (p *pace) see(s *daq.State) {
	if p.last == 0 {
		p.since = s.Mono
	}
	rate, known := s.Values.Get(quantity.TemperatureRate)
	if seconds := (s.Mono - p.last).Seconds(); p.last != 0 && known && math.Abs(rate) > movingAbove {
		p.moved, p.moving, p.changing = p.moved+math.Abs(rate)*seconds, p.moving+seconds, p.changing+seconds
	}
	p.last = s.Mono
}

func (p *pace) captured(at time.Duration) {
	p.between = append(p.between, max(0, (at-p.since).Seconds()-p.changing))
	p.since, p.changing = at, 0
}

// remaining is the time that the conditions left take at the pace so far, s; nil where
// that is not known yet.
func (r *running) remaining(celsius float64) *float64 {
	if len(r.pace.between) == 0 {
		return nil
	}
	sum, kelvin := 0.0, 0.0
	for _, one := range r.pace.between {
		sum += one
	}
	seconds := sum / float64(len(r.pace.between)) * float64(r.left())
	for _, t := range r.warmths() { // each from the one before
		if math.Abs(celsius-t) > warmthWithin {
			kelvin, celsius = kelvin+math.Abs(celsius-t), t
		}
	}
	if kelvin > 0 {
		if r.pace.moving < 30 {
			return nil
		}
		seconds += kelvin * r.pace.moving / r.pace.moved
	}
	seconds = math.Round(seconds)
	return &seconds
}

// warmths are the temperatures of the conditions left, in the order of the plan.
func (r *running) warmths() (list []float64) {
	for i := range r.plan.Points {
		if p := &r.plan.Points[i]; !r.good[p.Name()] && !slices.Contains(list, p.Temperature) {
			list = append(list, p.Temperature)
		}
	}
	return list
}
