package report

import (
	"fmt"
	"math"
	"strings"

	"flowrigd/calc/explain"
	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
)

// The units of the bench, by their factors from SI.
const (
	litresPerMinute   = 60000
	squareMillimetres = 1e6
	millimetres       = 1000
)

const unknown = "—"

// stated writes a mean with its expanded uncertainty, in a unit of the bench.
func stated(m daq.Mean, factor float64) string {
	if m.Value == nil {
		return unknown
	}
	u := math.NaN()
	if m.Expanded != nil {
		u = *m.Expanded * factor
	}
	return explain.WithUncertainty(*m.Value*factor, u)
}

func statedValue(value, expanded *float64, factor float64) string {
	return stated(daq.Mean{Value: value, Expanded: expanded}, factor)
}

func celsiusSpan(low, high float64) string {
	if high-low < 0.05 {
		return fmt.Sprintf("%.1f", low)
	}
	return fmt.Sprintf("%.1f–%.1f", low, high)
}

// conditions are the facts at the head of the report.
func (r *Report) conditions() (list []fact) {
	add := func(name, format string, args ...any) { list = append(list, fact{name, fmt.Sprintf(format, args...)}) }
	if x := r.Experiment; x != nil {
		add("experiment", "%s, started by %s", x.ID, x.Who)
		if plan := string(x.Plan); plan != "" && plan != "null" {
			add("plan", "%s", plan)
		}
		if r.Ended != nil {
			add("ended", "%s, %s %s", r.clock(r.Ended.Time), r.Ended.Action, r.Ended.Who)
		}
	}
	if c := r.Config; c != nil {
		add("tube", "bore %s mm, length %s mm (%.0f bores)", explain.WithUncertainty(c.Tube.Bore.X*1000, 2*c.Tube.Bore.U*1000),
			explain.WithUncertainty(c.Tube.Length.X*1000, zeroUnknown(2*c.Tube.Length.U*1000)), c.Tube.Length.X/c.Tube.Bore.X)
		add("limits of Re", "laminar below %.0f, turbulent above %.0f", c.Regime.LaminarBelow, c.Regime.TurbulentAbove)
	}
	for _, id := range summed {
		if b, ok := r.Trends[id]; ok {
			name, factor := benchName(id)
			texts := alike(b.Mean*factor, b.Min*factor, b.Max*factor)
			add(name, "mean %s, from %s to %s", texts[0], texts[1], texts[2])
		}
	}
	add("configuration, SHA-256", "%s", strings.Join(append([]string(nil), orUnknown(r.Configurations)...), ", "))
	add("recording", "%s", r.Recording)
	return list
}

// zeroUnknown is NaN for an uncertainty that nobody stated.
func zeroUnknown(u float64) float64 {
	if u == 0 {
		return math.NaN()
	}
	return u
}

func orUnknown(list []string) []string {
	if len(list) == 0 {
		return []string{unknown}
	}
	return list
}

// alike writes values of one quantity with as many decimals each: four digits of the
// greatest, less what is 0 in all of them.
func alike(values ...float64) (texts []string) {
	greatest := 0.0
	for _, v := range values {
		greatest = max(greatest, math.Abs(v))
	}
	decimals := 0
	if greatest > 0 {
		decimals = max(0, min(6, 3-int(math.Floor(math.Log10(greatest)))))
	}
	for ; ; decimals-- {
		texts = texts[:0]
		zeros := decimals > 0
		for _, v := range values {
			text := strings.Replace(fmt.Sprintf("%.*f", decimals, v), "-", "−", 1)
			texts, zeros = append(texts, text), zeros && strings.HasSuffix(text, "0")
		}
		if !zeros {
			return texts
		}
	}
}

// benchName is how the report calls a quantity, and its factor from SI.
func benchName(id quantity.ID) (string, float64) {
	switch id {
	case quantity.Flow:
		return "flow, L/min", litresPerMinute
	case quantity.Temperature:
		return "water at the inlet, °C", 1
	case quantity.TubeTemperature:
		return "water at the dye, °C", 1
	case quantity.Level:
		return "level, mm", millimetres
	case quantity.Ambient:
		return "room, °C", 1
	case quantity.Reynolds:
		return "Reynolds number", 1
	case quantity.KinematicViscosity:
		return "viscosity, mm²/s", squareMillimetres
	case quantity.Velocity:
		return "mean velocity, m/s", 1
	}
	return id.Name(), 1
}

func (r *Report) pointRows() (rows []pointRow) {
	for _, kept := range r.Points {
		p := kept.Of
		of := func(id quantity.ID, factor float64) string { return stated(meanOf(p, id), factor) }
		row := pointRow{
			Time: r.clock(p.Time), Condition: strings.ReplaceAll(p.Point, " Cel", " °C"), Computed: p.Computed, Observed: p.Observed, Struck: kept.Struck != "",
			Flow: of(quantity.Flow, litresPerMinute), Water: of(quantity.TubeTemperature, 1), Re: of(quantity.Reynolds, 1),
			Seconds: fmt.Sprintf("%.0f", p.Seconds), Viscosity: of(quantity.KinematicViscosity, squareMillimetres),
			Velocity: of(quantity.Velocity, 1), Head: of(quantity.Head, millimetres), Friction: of(quantity.FrictionFactor, 1),
			Measured: of(quantity.MeasuredFriction, 1), Loss: of(quantity.LossCoefficient, 1), Torn: of(quantity.DisturbedFraction, 1),
		}
		var remarks []string
		if p.Repeat > 0 {
			remarks = append(remarks, fmt.Sprintf("repeat %d", p.Repeat))
		}
		if p.Spoilt != "" {
			remarks = append(remarks, "spoilt: "+p.Spoilt)
		}
		if kept.Struck != "" {
			remarks = append(remarks, "struck: "+kept.Struck)
		}
		row.Remark = strings.Join(remarks, "; ")
		rows = append(rows, row)
	}
	return rows
}

func (r *Report) observationRow(kept Kept[*daq.Observation]) observationRow {
	o := kept.Of
	row := observationRow{
		Time: r.clock(o.Time), Seen: o.Seen, Re: statedValue(o.Reynolds, o.ReynoldsUncertainty, 1), Water: unknown,
		Approach: o.Approach, By: o.Who, Struck: kept.Struck != "",
	}
	if w := o.Water(); w != nil {
		row.Water = fmt.Sprintf("%.1f", *w)
	}
	if o.Sensor {
		row.By = "the light through the tube"
	}
	var notes []string
	if o.Note != "" {
		notes = append(notes, o.Note)
	}
	if !o.Contradicts.IsZero() {
		notes = append(notes, "contradicts that of "+r.clock(o.Contradicts))
	}
	if kept.Struck != "" {
		notes = append(notes, "struck: "+kept.Struck)
	}
	row.Note = strings.Join(notes, "; ")
	return row
}

func (r *Report) collectionRow(kept Kept[*daq.Collection]) collectionRow {
	c := kept.Of
	row := collectionRow{
		Time: r.clock(c.Start), Seconds: fmt.Sprintf("%.1f", c.Seconds), Verdict: c.Verdict, By: c.Who, Struck: kept.Struck != "",
		Collected: statedValue(&c.Collected, &c.CollectedU, litresPerMinute), Metered: statedValue(&c.Metered, &c.MeteredU, litresPerMinute),
		Factor: statedValue(&c.Factor, &c.FactorU, 1),
	}
	if c.Start.Before(r.From) {
		row.Verdict += "; before this report’s time"
	}
	if kept.Struck != "" {
		row.Verdict += "; struck: " + kept.Struck
	}
	return row
}

// budgets are those of the first test point of each band that stands.
func (r *Report) budgets() (list []budget) {
	if r.Config == nil {
		return nil
	}
	p, err := pipe.New(r.Config.Physics())
	if err != nil {
		return nil
	}
	done := map[string]bool{}
	for _, kept := range r.Points {
		point := kept.Of
		in := pipe.Inputs{Flow: input(meanOf(point, quantity.Flow)), Temperature: input(meanOf(point, quantity.Temperature)), Ambient: input(meanOf(point, quantity.Ambient))}
		rows := p.Budget(in)
		if kept.Struck != "" || done[point.Computed] || len(rows) == 0 {
			continue
		}
		done[point.Computed] = true
		b := budget{Of: fmt.Sprintf("Test point of %s, Re %s", r.clock(point.Time), stated(meanOf(point, quantity.Reynolds), 1))}
		sum := uncertainty.Combine(rows...).U
		for _, row := range rows {
			b.Rows = append(b.Rows, budgetRow{row.Name, fmt.Sprintf("%.1f", row.Share()), fmt.Sprintf("%.0f %%", 100*math.Pow(row.Share()/sum, 2))})
		}
		b.Rows = append(b.Rows, budgetRow{"together, standard uncertainty", fmt.Sprintf("%.1f", sum), "100 %"})
		list = append(list, b)
	}
	return list
}

// input is a mean as the physics takes it; one whose uncertainty is unknown makes no
// budget.
func input(m daq.Mean) pipe.Input {
	if m.Value == nil || m.Expanded == nil {
		return pipe.Input{}
	}
	return pipe.Input{Value: uncertainty.Value{X: *m.Value, U: *m.Expanded / 2}, Known: true}
}
