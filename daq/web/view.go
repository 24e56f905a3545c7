package web

import (
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// view is everything the page shows, in people's words and units.
type view struct {
	Site, Rig string
	Clock     string
	Blind     bool     // there is no state to believe
	Notices   []notice // trouble and caution
	Remarks   []string // what a person should know beside the numbers
	Band      band     // the place kept for alarms
	Bench     drawing
	Sign      sign
	Re, U     string
	At        string // where Re is meant, and the water's temperature there
	Chances   []chance
	Likely    string   // the band that is the likeliest, and how likely; "" where that is not known
	Settled   string   // steady, settling, or neither known
	Steady    string   // the same in a sentence
	Advice    []string // all there is to do, the most pressing first
	Todo      []string // of it, what does not stand in the band
	Ruler     reRuler
	Head      headRuler
	Readings  []reading
	Alarms    []alarmCard
	Permit    permitView
	Plan      *planView // of the experiment that runs; nil: none does
	Details   []detail
	Say       string // for a screen reader; changes only when it matters
}

// notice is something that is not as it should be, or a caution. Kind is
// trouble, caution or hint.
type notice struct{ Kind, Text string }

// chance is the probability of one band.
type chance struct{ Band, Percent string }

// reading is an instrument with its quality. Kind is good, uncertain or bad.
type reading struct {
	Name, Value, Unit string
	Kind, Why         string
	Age               string // of the last clean answer; "" where none came
	Reads, Faults     string // exchanges since the start
	Took              string
	Fault             string // the last one, with its time
	id                quantity.ID
}

// band is the alarm that stands first, in its kept place.
type band struct {
	Kind  string // calm, blind, quiet, or the priority
	First alarmCard
	Open  bool   // not acknowledged
	Loud  bool   // of high priority, and not acknowledged
	More  string // the others; "" without
}

// bandOf shows the first card; what is silenced stands in the list alone.
func bandOf(cards []alarmCard, blind bool) band {
	b := band{Kind: "calm"}
	if blind {
		b.Kind = "blind"
		return b
	}
	var others, quiet []string
	for _, a := range cards {
		switch {
		case a.Quiet:
			quiet = append(quiet, a.Name)
		case b.First.Name == "":
			b.First, b.Kind, b.Open = a, a.Priority, a.NeedsAnswer
		default:
			others = append(others, a.Name)
		}
		b.Loud = b.Loud || a.NeedsAnswer && a.Priority == "high"
	}
	switch {
	case len(others) > 0:
		b.More = "and " + strings.Join(others, ", ")
	case b.First.Name == "" && len(quiet) > 0:
		b.Kind, b.More = "quiet", strings.Join(quiet, ", ")
	}
	return b
}

// detail is a row of the table of everything.
type detail struct{ Name, Value, Help string }

// Above scaldAbove, in °C, water burns within seconds: second-degree burns in
// 3 s, third-degree in 5 s (after Moritz and Henriques 1947, read at second
// hand).
const scaldAbove = 60

// viewOf builds the view. A state that must not be believed comes as nil with
// its reason, and then every value is unknown.
func viewOf(state *daq.State, reason error, checks map[string]error, id daq.Identity, f *Facts, talk talk) view {
	if state == nil {
		state = &daq.State{Instruments: f.Instruments}
	}
	v := view{Site: id.Site, Rig: id.Rig, Clock: unknown, Blind: reason != nil}
	if !state.Time.IsZero() {
		v.Clock = clock(state.Time, f)
	}
	values := &state.Values
	v.Sign = signOf(values.Band())
	v.number(state, f)
	v.Ruler, v.Head = rulerOf(values, f), headOf(values, f)
	v.Readings = readingsOf(state, reason, f, talk)
	v.Alarms = alarmCards(state, f)
	v.Permit = permitOf(state, reason, f)
	for _, n := range noticesOf(state, reason, checks, f) {
		if n.Kind == "hint" {
			v.Remarks = append(v.Remarks, n.Text)
		} else {
			v.Notices = append(v.Notices, n)
		}
	}
	v.Band = bandOf(v.Alarms, v.Blind)
	v.Advice = adviceOf(state, reason)
	v.Todo = slices.DeleteFunc(slices.Clone(v.Advice), func(text string) bool { return text == v.Band.First.Action })
	v.Plan = planOf(state)
	v.Bench = drawingOf(&v, state, &f.frame, f)
	for id := range quantity.Count {
		v.Details = append(v.Details, detail{plain(id), bench(values, id), quantity.Table[id].Help})
	}
	v.Say = sayOf(v)
	return v
}

// clock is the one clock of the page: the rig's, in its zone.
func clock(t time.Time, f *Facts) string { return f.local(t).Format("2006-01-02 15:04:05 MST") }

func (v *view) number(state *daq.State, f *Facts) {
	s := &state.Values
	v.Re, v.Settled, v.Steady = unknown, "Not known", "whether the rig is steady"
	if re, known := s.Get(quantity.Reynolds); known {
		u, _ := s.Get(quantity.ReynoldsUncertainty)
		v.Re, v.U = pair(re, u)
		v.At = "where the dye is watched"
		if _, known := s.Get(quantity.TubeTemperature); known {
			v.At += ", " + bench(s, quantity.TubeTemperature)
		}
	}
	if steady, known := s.Get(quantity.Steady); known {
		v.Settled, v.Steady = "Settling", "the flow, the temperature or the level still moves"
		if left, known := s.Get(quantity.SettlingSeconds); known && state.WaitsFor != "" {
			v.Settled, v.Steady = "Settling: "+roughly(math.Ceil(left))+" or more", "it waits for "+state.WaitsFor
		}
		if steady != 0 {
			v.Settled, v.Steady = "Steady", "flow, temperature and level are at rest"
		}
	}
	low, high := group(f.LaminarBelow, 0), group(f.TurbulentAbove, 0)
	most := 0.0
	for _, row := range []struct {
		id   quantity.ID
		band string
		with string // the limits of "between"
	}{
		{quantity.ProbabilityBelow, "below " + low, ""},
		{quantity.ProbabilityBetween, "between", " " + low + " and " + high},
		{quantity.ProbabilityAbove, "above " + high, ""},
	} {
		text := unknown
		if p, known := s.Get(row.id); known {
			text = percent(p)
			if p > most {
				most, v.Likely = p, "Re "+row.band+row.with+": "+text
			}
		}
		v.Chances = append(v.Chances, chance{row.band, text})
	}
}

// kinds are the words of the page for grades.
var kinds = [...]string{daq.Missing: "bad", daq.Bad: "bad", daq.Uncertain: "uncertain", daq.Good: "good"}

// talk is the exchanges with the instruments, and what time it is at the rig.
type talk struct {
	list [quantity.Count]exchange
	now  time.Time
}

func readingsOf(state *daq.State, reason error, f *Facts, talk talk) []reading {
	var list []reading
	for _, id := range state.Instruments {
		q := state.Quality[id]
		r := reading{Name: plain(id), Value: unknown, Kind: kinds[q.Grade], Why: q.Why, id: id}
		if reason != nil {
			r.Why = reason.Error()
		} else if q.Grade == daq.Missing {
			r.Why = "no reading yet"
		}
		if v, known := state.Values.Get(id); known && q.Usable() {
			r.Value, r.Unit = benchUnit(id).number(v), benchUnit(id).sign
			if quantity.Table[id].Kind == quantity.Boolean {
				r.Value, r.Unit = bench(&state.Values, id), ""
			}
		}
		r.exchanged(talk.list[id], f, talk.now)
		list = append(list, r)
	}
	return list
}

func (r *reading) exchanged(x exchange, f *Facts, now time.Time) {
	r.Age = ageOf(x, now)
	r.Reads, r.Faults = group(float64(x.Reads), 0), group(float64(x.Faults), 0)
	r.Took = group(1000*x.Took.Seconds(), 0) + "\u00a0ms"
	if x.Fault != "" {
		r.Fault = since(x.FaultAt, now, f) + ": " + x.Fault
	}
}

// plain is a quantity's name as people say it.
func plain(id quantity.ID) string { return strings.ReplaceAll(id.Short(), "_", " ") }

func noticesOf(state *daq.State, reason error, checks map[string]error, f *Facts) []notice {
	var list []notice
	if reason != nil {
		list = append(list, notice{"trouble", "No values: " + reason.Error() + "."})
	}
	for _, name := range slices.Sorted(maps.Keys(checks)) {
		// Engine and instruments have places of their own on the page.
		if err := checks[name]; err != nil && name != "engine" && !strings.HasPrefix(name, "instrument ") {
			list = append(list, notice{"trouble", "Not working: " + name + ": " + err.Error() + "."})
		}
	}
	if reason == nil && !state.Synchronised {
		list = append(list, notice{"hint", "The clock of this machine is not synchronised: times may be wrong."})
	}
	if hot, t := hottest(&state.Values); hot {
		list = append(list, notice{"caution", "Hot water, " + benchUnits[config.Temperature].text(t) + ": it scalds within seconds. Keep hands away, let it cool before you touch tube or tank."})
	}
	for _, text := range state.Warnings {
		list = append(list, notice{"hint", strings.ToUpper(text[:1]) + text[1:] + "."}) // a clause there, a sentence here
	}
	if !slices.Contains(f.Instruments, quantity.SupplyFlow) && !slices.Contains(f.Instruments, quantity.SupplyOn) {
		list = append(list, notice{"hint", "Dry heating is not detected on this rig: fit a hard-wired flow interlock and cut-out."})
	}
	return list
}

// hottest is whether any measured water is hot enough to scald at once.
func hottest(s *quantity.Set) (hot bool, t float64) {
	for _, id := range [...]quantity.ID{quantity.Temperature, quantity.Tank, quantity.HeaterOutlet} {
		if v, known := s.Get(id); known && v > scaldAbove {
			hot, t = true, max(t, v)
		}
	}
	return hot, t
}

func sayOf(v view) string {
	text := "Regime " + v.Sign.Word + ". "
	if v.Blind {
		return text + "Alarms are not known."
	}
	if len(v.Alarms) == 0 {
		return text + "No alarm."
	}
	for _, a := range v.Alarms {
		text += "Alarm " + a.Name + ", " + a.State + ". "
	}
	return text
}
