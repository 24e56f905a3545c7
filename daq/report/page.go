package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/transition"
	"flowrigd/config"
)

//go:embed page.html
var pageText string

var pageTemplate = template.Must(template.New("report").Funcs(template.FuncMap{
	"times": func(a, b float64) float64 { return a * b },
}).Parse(pageText))

// mostRows bounds the tables of alarms and notes: paper is for reading.
const mostRows = 200

// Every table of the page is made of these: texts alone, which the template escapes.
type (
	fact        struct{ Name, Text string }
	criticalRow struct{ Water, By, From, Count, Value, Bracket string }
	pointRow    struct {
		Time, Condition, Flow, Water, Re, Computed, Observed, Seconds, Remark string
		Viscosity, Velocity, Head, Friction, Measured, Loss, Torn             string
		Struck                                                                bool
	}
	observationRow struct {
		Time, Seen, Re, Water, Approach, By, Note string
		Struck                                    bool
	}
	collectionRow struct {
		Time, Seconds, Collected, Metered, Factor, Verdict, By string
		Struck                                                 bool
	}
	alarmRow      struct{ Time, Name, State, Priority, Cause, By string }
	noteRow       struct{ Time, Kind, By, Text string }
	instrumentRow struct{ Name, Accuracy, Calibration string }
	budgetRow     struct{ Name, Part, Share string }
	budget        struct {
		Of   string
		Rows []budgetRow
	}
)

// page is what the template shows.
type page struct {
	Title, Place, When, Made, Program, Recording, ConfigProblem string
	Method, Needle, ShortTube, Limits, MoreAlarms, MoreNotes    string
	Conditions                                                  []fact
	SideBySide                                                  []sideRow
	Critical                                                    []criticalRow
	Sameness, Strikes, Cautions                                 []string
	Velocities                                                  []CriticalVelocity
	References                                                  []transition.Reference
	Pictures                                                    []Picture
	Points                                                      []pointRow
	Observations                                                []observationRow
	Collections                                                 []collectionRow
	Instruments                                                 []instrumentRow
	Budgets                                                     []budget
	Alarms                                                      []alarmRow
	Notes                                                       []noteRow
}

// Write writes the report as one HTML file.
func (r *Report) Write(w io.Writer) error {
	p := page{
		Title: r.title(), Place: r.place(), When: r.clock(r.From) + " to " + r.clock(r.To) + " (" + zoneName(r.From, r.Zone) + ")",
		Made: r.clock(r.Made), Program: r.Program, Recording: r.Recording, ConfigProblem: r.ConfigProblem,
		Method: transition.FitMethod, Conditions: r.conditions(), SideBySide: r.sideBySide(), Cautions: r.cautions(),
		References: transition.References(), Pictures: r.Pictures, Points: r.pointRows(), Budgets: r.budgets(),
	}
	for _, c := range r.Critical {
		p.Critical = append(p.Critical, criticalRow{celsiusSpan(c.LowCelsius, c.HighCelsius), c.By, c.From, fmt.Sprint(c.Below + c.Above), c.Value(), c.Bracket()})
	}
	for _, v := range r.Verdicts {
		p.Sameness = append(p.Sameness, v.String())
	}
	if r.Config != nil {
		p.ofTheRig(r)
	}
	r.happened(&p)
	if err := pageTemplate.Execute(w, p); err != nil {
		return fmt.Errorf("report: write: %w", err)
	}
	return nil
}

// usualNeedle is its bore where the configuration states none, m (common practice, no
// source).
const usualNeedle = 0.0005

// ofTheRig adds what follows from the configuration.
func (p *page) ofTheRig(r *Report) {
	c := r.Config
	needle, whose := c.Dye.Needle, ""
	if needle == 0 {
		needle, whose = usualNeedle, " (the configuration states none)"
	}
	p.Needle = fmt.Sprintf("a needle of %.1f mm bore%s", needle*millimetres, whose)
	p.Velocities = velocities(r.Critical, []float64{20, 30, 40, 50, 60}, c.Tube.Bore.X, needle)
	p.ShortTube = shortTube(c.Tube.Length.X / c.Tube.Bore.X)
	p.Limits = fmt.Sprintf("%.0f and %.0f", c.Regime.LaminarBelow, c.Regime.TurbulentAbove)
	for _, i := range c.Instruments {
		p.Instruments = append(p.Instruments, instrumentRow{i.Name, accuracy(&i), calibration(&i)})
	}
}

// happened adds what was seen, told and struck.
func (r *Report) happened(p *page) {
	for _, o := range r.Observations {
		p.Observations = append(p.Observations, r.observationRow(o))
	}
	for _, c := range r.Collections {
		p.Collections = append(p.Collections, r.collectionRow(c))
	}
	for _, a := range r.Alarms[:min(mostRows, len(r.Alarms))] {
		p.Alarms = append(p.Alarms, alarmRow{r.clock(a.Time), a.Name, a.State, a.Priority, a.Cause, a.Who})
	}
	for _, n := range r.Notes[:min(mostRows, len(r.Notes))] {
		p.Notes = append(p.Notes, noteRow{r.clock(n.Time), n.Kind, n.Who, n.Text})
	}
	p.MoreAlarms, p.MoreNotes = more(len(r.Alarms), "alarms"), more(len(r.Notes), "notes")
	for _, s := range r.Strikes {
		p.Strikes = append(p.Strikes, fmt.Sprintf("%s: %s %d struck by %s: %s", r.clock(s.Time), s.Of, s.Struck, s.Who, s.Reason))
	}
}

func more(n int, what string) string {
	if n <= mostRows {
		return ""
	}
	return fmt.Sprintf("%d more are in the recording: flowrigd export %s gives all.", n-mostRows, what)
}

func (r *Report) title() string {
	if r.Experiment == nil {
		return "Report of a recording"
	}
	return "Experiment " + strings.TrimSpace(r.Experiment.Name+" ("+r.Experiment.ID+")")
}

func (r *Report) place() string {
	if r.Config == nil {
		return "site and rig not known"
	}
	return r.Config.Site + ", " + r.Config.Rig
}

// clock writes a time in the rig's zone.
func (r *Report) clock(t time.Time) string { return t.In(r.Zone).Format("2006-01-02 15:04:05") }

// zoneName is the zone as people know it at that time, with its hours from UTC.
func zoneName(at time.Time, zone *time.Location) string {
	name, offset := at.In(zone).Zone()
	if offset == 0 {
		return "UTC"
	}
	if hours := at.In(zone).Format("UTC-07:00"); name == "" || strings.ContainsAny(name, "+-") {
		return hours
	} else {
		return name + ", " + hours
	}
}

// accuracy writes the maker's limits of error.
func accuracy(i *config.Instrument) string {
	a := i.Accuracy
	if c := i.Calibration; a == nil && c != nil {
		return "standard uncertainty " + sum(i.ID, c.OfReading, 0, c.Fixed) + " by its certificate"
	}
	if a == nil {
		return "not stated"
	}
	return "limits of error " + sum(i.ID, a.OfReading, a.OfSpan, a.Fixed)
}

// sum writes parts of the reading, of the span, and what is the same everywhere.
func sum(id quantity.ID, ofReading, ofSpan, always float64) string {
	var parts []string
	if ofReading > 0 {
		parts = append(parts, fmt.Sprintf("%.3g %% of the reading", 100*ofReading))
	}
	if ofSpan > 0 {
		parts = append(parts, fmt.Sprintf("%.3g %% of the span", 100*ofSpan))
	}
	if always > 0 {
		parts = append(parts, fixed(id, always))
	}
	return strings.Join(parts, " + ")
}

// fixed writes a part of the uncertainty that is the same over the range.
func fixed(id quantity.ID, v float64) string {
	switch config.DimensionOf(id) {
	case config.VolumeFlow:
		return fmt.Sprintf("%.3g L/min", v*litresPerMinute)
	case config.Temperature:
		return fmt.Sprintf("%.3g K", v)
	case config.Length:
		return fmt.Sprintf("%.3g mm", v*millimetres)
	case config.Pressure:
		return fmt.Sprintf("%.3g Pa", v)
	}
	return fmt.Sprintf("%.3g", v)
}

func calibration(i *config.Instrument) string {
	var parts []string
	if c := i.Calibration; c != nil {
		parts = append(parts, "of "+c.Date.Format("2006-01-02"))
		if c.Due > 0 {
			parts = append(parts, "due "+c.Date.Add(c.Due).Format("2006-01-02"))
		}
	}
	if n := len(i.Correct); n > 0 {
		parts = append(parts, fmt.Sprintf("corrected at %d points", n))
	}
	if len(parts) == 0 {
		return "none stated"
	}
	return strings.Join(parts, ", ")
}

// cautions are what a reader must know of this very rig and time.
func (r *Report) cautions() (list []string) {
	list = append(list, "Re tells a band; only the dye shows the flow: careful entries stay laminar to 10 000 and more.")
	if !r.Rows {
		list = append(list, "The rows of this time are no longer in the recording: no picture over time, no configuration.")
	}
	if len(r.Configurations) > 1 {
		list = append(list, fmt.Sprintf("%d configurations were in use in this time; what is computed here is by the last one.", len(r.Configurations)))
	}
	if r.Experiment != nil && r.Ended == nil {
		list = append(list, "The experiment was not ended when this report was made.")
	}
	spoilt, contradicted := 0, 0
	for _, p := range r.Points {
		if p.Of.Spoilt != "" {
			spoilt++
		}
	}
	for _, o := range r.Observations {
		if !o.Of.Contradicts.IsZero() {
			contradicted++
		}
	}
	if spoilt > 0 {
		list = append(list, fmt.Sprintf("Spoilt test points: %d; they stand in the table with the reason.", spoilt))
	}
	if contradicted > 0 {
		list = append(list, fmt.Sprintf("Observations that contradict an earlier one: %d; both are kept and both count.", contradicted))
	}
	return list
}
