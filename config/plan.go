package config

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"

	"flowrigd/calc/quantity"
)

// Plan is an experiment that a person can start.
type Plan struct {
	Name   string         `json:"name"`
	Points []PlannedPoint `json:"points"`
}

// PlannedPoint is one condition at which a test point is to be captured.
type PlannedPoint struct {
	Temperature float64       `json:"temperature_celsius"` // of the water at the tube's inlet, Cel
	Regime      quantity.Band `json:"regime,omitempty"`    // 0 where Reynolds alone is planned
	Reynolds    float64       `json:"reynolds_number"`     // the planned one; of a regime the one to set
}

// Name is the condition in words, such as "25 Cel, laminar" or "40 Cel, Re 1500".
func (p *PlannedPoint) Name() string {
	if p.Regime != 0 {
		return Format(p.Temperature, Temperature) + ", " + p.Regime.String()
	}
	return Format(p.Temperature, Temperature) + ", Re " + short(p.Reynolds)
}

// PlanText is a plan as a person writes it in a request.
type PlanText struct {
	Name   string      `json:"name"`
	Points []PointText `json:"points"`
}

// PointText is one entry of a plan: each regime or Reynolds number makes a point.
type PointText struct {
	Temperature string    `json:"temperature"`
	Regimes     []string  `json:"regimes,omitempty"`
	Reynolds    []float64 `json:"reynolds,omitempty"`
}

// The bounds of a plan.
const (
	maxPlans      = 50
	maxPlanPoints = 200
	maxPlanName   = 100 // characters
	planExample   = `points = [{temperature = "25 Cel", regimes = ["laminar", "turbulent"]}, {temperature = "40 Cel", reynolds = [1500, 3000]}]`
	regimeRemedy  = `write some of "laminar", "transitional", "turbulent"`
)

// planRegimes are what a point may ask for.
var planRegimes = []quantity.Band{quantity.Laminar, quantity.Transitional, quantity.Turbulent}

// entry is one entry of a plan with where its parts stand.
type entry struct {
	celsius float64
	wanted  []PlannedPoint
	at      []place // of each that is wanted
	warmth  place   // of the temperature
}

// draft is a plan of the file before it is held against the rig.
type draft struct {
	plan    Plan
	entries []entry
}

// loadPlans reads what the page offers to run.
func (l *loader) loadPlans() (drafts []draft) {
	n := l.root.take("plan")
	if n == nil {
		return nil
	}
	if n.kind != unstable.ArrayTable && n.kind != unstable.Array || len(n.children) == 0 {
		l.root.bad("plan", n, kindName(n)+" where plans belong", `write [[plan]] with name = "four temperatures" and points = […] below it, once for each plan`)
		return nil
	}
	if len(n.children) > maxPlans {
		l.report.add(n.children[maxPlans].at, fmt.Sprintf("plan: more than %d plans", maxPlans), "leave out those that nobody runs")
		return nil
	}
	seen := map[string]int{}
	for _, c := range n.children {
		if !c.isTable() {
			l.root.bad("plan", c, kindName(c)+" where a plan belongs", `write {name = "four temperatures", points = […]}`)
			continue
		}
		if c.at == (place{}) {
			c.at = c.value
		}
		s := newSection(c, "plan", l.report)
		d := draft{}
		name, at := s.requiredText("name", "four temperatures", `write name = "four temperatures"`)
		if at != nil {
			if why := planNameMistake(name); why != "" {
				s.bad("name", at, why, `write a short one, such as "four temperatures"`)
			} else if line := seen[name]; line > 0 {
				s.bad("name", at, fmt.Sprintf("%s is the name of the plan in line %d too", quoted(name), line), "give each plan a name of its own")
			}
			seen[name] = max(seen[name], at.value.line)
		}
		d.plan.Name, d.entries = name, s.planEntries()
		s.done()
		drafts = append(drafts, d)
	}
	return drafts
}

func planNameMistake(name string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return "an empty name"
	case utf8.RuneCountInString(name) > maxPlanName:
		return fmt.Sprintf("a name longer than %d characters", maxPlanName)
	case Printable(name) != name:
		return "a character that cannot be printed"
	}
	return ""
}

func (s *section) planEntries() (list []entry) {
	n := s.take("points")
	switch {
	case n == nil:
		s.missing("points", "write "+planExample)
		return nil
	case n.kind != unstable.Array && n.kind != unstable.ArrayTable || len(n.children) == 0:
		s.bad("points", n, "a plan without points", "write "+planExample)
		return nil
	}
	for _, c := range n.children {
		if !c.isTable() {
			s.bad("points", c, kindName(c)+" where a point belongs", "write "+planExample)
			continue
		}
		if c.at == (place{}) {
			c.at = n.value
			if len(c.children) > 0 {
				c.at = c.children[0].at
			}
		}
		list = append(list, newSection(c, "plan.points", s.report).planEntry())
	}
	return list
}

func (s *section) planEntry() (e entry) {
	s.require("temperature", `write temperature = "25 Cel"`)
	celsius, at := s.setting("temperature", Temperature)
	e.celsius, e.warmth = celsius, s.place("temperature")
	switch kind := s.exactlyOne("regimes or reynolds", "regimes", "reynolds"); kind {
	case "regimes":
		words := s.texts("regimes", func(text string) bool { _, ok := planRegime(text); return ok }, "regimes", "a regime", `write regimes = ["laminar", "turbulent"]`, regimeRemedy)
		for _, word := range words {
			band, _ := planRegime(word)
			e.wanted = append(e.wanted, PlannedPoint{celsius, band, 0})
			e.at = append(e.at, s.place("regimes"))
		}
	case "reynolds":
		s.planReynolds(&e)
	}
	s.done()
	if at == nil {
		e.wanted = nil
	}
	return e
}

func (s *section) planReynolds(e *entry) {
	n := s.take("reynolds")
	if n.kind != unstable.Array || len(n.children) == 0 {
		s.bad("reynolds", n, "no list of Reynolds numbers", "write reynolds = [1500, 3000]")
		return
	}
	for _, c := range n.children {
		re, ok := c.number()
		switch {
		case !ok:
			s.bad("reynolds", c, kindName(c)+" is no Reynolds number", "write numbers without quotes, such as [1500, 3000]")
		case !plannedReynolds(re):
			s.bad("reynolds", c, c.text+" is out of range", reynoldsRemedy)
		default:
			e.wanted = append(e.wanted, PlannedPoint{e.celsius, 0, re})
			e.at = append(e.at, c.value)
		}
	}
}

const reynoldsRemedy = "write a Reynolds number from 10 to 1000000"

func plannedReynolds(re float64) bool { return re >= 10 && re <= 1e6 }

func planRegime(word string) (quantity.Band, bool) {
	band, ok := quantity.ParseBand(word)
	return band, ok && slices.Contains(planRegimes, band)
}

// checkPlans holds the plans against what the rig can do.
func (l *loader) checkPlans(drafts []draft) {
	unsure := Fatal(l.report.problems)
	for _, d := range drafts {
		count := 0
		for _, e := range d.entries {
			count += len(e.wanted)
			if unsure || len(e.wanted) == 0 {
				continue // the rig is not known
			}
			if m := l.config.warmthMistake(e.celsius); m != nil {
				l.report.add(e.warmth, "plan.points.temperature: "+m.Wrong, m.Remedy)
				continue
			}
			for i, p := range e.wanted {
				if m := l.config.aim(&p); m != nil {
					l.report.add(e.at[i], "plan.points: "+m.Wrong, m.Remedy)
				}
				d.plan.Points = append(d.plan.Points, p)
			}
		}
		if count > maxPlanPoints {
			l.report.add(d.entries[0].warmth, fmt.Sprintf("plan.points: %d points are more than one experiment can have, %d", count, maxPlanPoints), "make two plans of it")
		}
		l.config.Plans = append(l.config.Plans, d.plan)
	}
}

// NewPlan checks a plan of a request as those of the file are. The error says all
// that is wrong with it.
func (c *Config) NewPlan(text PlanText) (Plan, error) {
	p := Plan{Name: text.Name}
	var wrong []string
	say := func(where string, m *Mistake) { wrong = append(wrong, where+": "+m.Error()) }
	if why := planNameMistake(text.Name); why != "" {
		say("name", &Mistake{why, `write a short one, such as "four temperatures"`})
	}
	if len(text.Points) == 0 {
		say("points", &Mistake{"a plan without points", `write "points":[{"temperature":"25 Cel","regimes":["laminar"]}]`})
	}
	for i, e := range text.Points {
		where := fmt.Sprintf("points[%d]", i)
		wanted, m := e.wanted()
		if m == nil {
			m = c.warmthMistake(wanted[0].Temperature)
		}
		if m != nil {
			say(where, m)
			continue
		}
		for _, point := range wanted {
			if m := c.aim(&point); m != nil {
				say(where, m)
			}
			p.Points = append(p.Points, point)
		}
	}
	if len(p.Points) > maxPlanPoints {
		say("points", &Mistake{fmt.Sprintf("%d points are more than one experiment can have, %d", len(p.Points), maxPlanPoints), "make two plans of it"})
	}
	if len(wrong) > 0 {
		return Plan{}, fmt.Errorf("%s", strings.Join(wrong, "; and "))
	}
	return p, nil
}

// wanted are the points of an entry; there is one at least where there is no mistake.
func (e *PointText) wanted() (list []PlannedPoint, m *Mistake) {
	if e.Temperature == "" {
		return nil, &Mistake{"temperature is missing", `write "temperature":"25 Cel"`}
	}
	v, err := ParseQuantity(e.Temperature, Temperature)
	if err != nil {
		return nil, err.(*Mistake)
	}
	if (len(e.Regimes) == 0) == (len(e.Reynolds) == 0) {
		return nil, &Mistake{"the point needs exactly one of regimes and reynolds", `write "regimes":["laminar"] or "reynolds":[1500,3000]`}
	}
	for _, word := range e.Regimes {
		band, ok := planRegime(word)
		if !ok {
			return nil, &Mistake{quoted(word) + " is not a regime", regimeRemedy}
		}
		list = append(list, PlannedPoint{v.X, band, 0})
	}
	for _, re := range e.Reynolds {
		if !plannedReynolds(re) {
			return nil, &Mistake{short(re) + " is out of range", reynoldsRemedy}
		}
		list = append(list, PlannedPoint{v.X, 0, re})
	}
	return list, nil
}
