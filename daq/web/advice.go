package web

import (
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// alarmCard is an alarm as the page shows it.
type alarmCard struct {
	daq.AlarmStatus
	Means       string // the state in a sentence
	Figures     string // value and limit with unit; "" without
	When        string
	Next        []button // what a person can do to it now; at most one
	NeedsAnswer bool
	Quiet       bool // silenced, and its cause does not stand or nobody looks: it tells nobody to do anything
}

func alarmCards(state *daq.State, f *Facts) []alarmCard {
	list := make([]alarmCard, 0, len(state.Alarms))
	for _, a := range state.Alarms {
		card := alarmCard{
			AlarmStatus: a,
			Means:       meaning(a, state, f),
			Figures:     figures(a, f),
			When:        since(a.Since, state.Time, f),
			NeedsAnswer: strings.HasSuffix(a.State, "unacknowledged"),
			Quiet:       !a.CauseStands && (a.State == "shelved" || a.State == "suppressed" || a.State == "out-of-service"),
		}
		if next, ok := nextStep(a.State); ok {
			card.Next = []button{next}
		}
		list = append(list, card)
	}
	slices.SortStableFunc(list, func(a, b alarmCard) int { return urgency(b) - urgency(a) })
	return list
}

// button is something to do to an alarm.
type button struct {
	Verb daq.Verb
	Says string
}

// nextStep is what brings an alarm nearer to normal: what the engine accepts in
// this state. A normal alarm is asked for only where it still holds the permit off.
// Shelving and taking out of service want a reason: the page has forms for them.
func nextStep(state string) (next button, ok bool) {
	switch state {
	case "unacknowledged", "returned-unacknowledged", "latched-unacknowledged":
		return button{daq.Acknowledge, "Acknowledge"}, true
	case "latched-acknowledged", "normal":
		return button{daq.Reset, "Reset"}, true
	case "shelved":
		return button{daq.Unshelve, "Unshelve"}, true
	case "out-of-service":
		return button{daq.ReturnToService, "Return to service:"}, true
	}
	return button{}, false
}

// urgency puts unanswered alarms first, then the higher priority.
func urgency(a alarmCard) int {
	n := map[string]int{"high": 3, "medium": 2, "low": 1}[a.Priority]
	if a.NeedsAnswer {
		n += 4
	}
	return n
}

// meanings put the states of the standard in a sentence; shelved does its own.
var meanings = map[string]string{
	"unacknowledged":          "Active, not acknowledged.",
	"acknowledged":            "Active, acknowledged.",
	"returned-unacknowledged": "Cause gone, not acknowledged.",
	"latched-unacknowledged":  "Cause gone, not acknowledged; latched until reset.",
	"latched-acknowledged":    "Cause gone; latched until reset.",
	"suppressed":              "Suppressed by design: no notification, and it trips nothing.",
	"out-of-service":          "Out of service: no notification, and it trips nothing.",
}

// meaning is the state in a sentence, and what it means for the permit.
func meaning(a daq.AlarmStatus, state *daq.State, f *Facts) string {
	text := meanings[a.State]
	if a.State == "shelved" {
		text = shelved(a, state, f)
	}
	if a.State == "out-of-service" && a.Trips {
		text += " Meanwhile the heating permit is given only to a request that names it."
	}
	if a.Tripped {
		text += " It holds the heating permit off until it is reset."
	}
	return text
}

func shelved(a daq.AlarmStatus, state *daq.State, f *Facts) string {
	text := "Shelved"
	if until := since(a.Until, state.Time, f); until != "" {
		text += " until " + until
	}
	text += ": no notification"
	if a.Trips {
		text += ", but it still trips the heating permit"
	}
	if a.CauseStands {
		text += ". Its cause stands"
	}
	return text + "."
}

// figures writes an alarm's value and limit in the unit of what it watches.
func figures(a daq.AlarmStatus, f *Facts) string {
	i := slices.IndexFunc(f.Alarms, func(fact config.Alarm) bool { return fact.Name == a.Name })
	if i < 0 || len(f.Alarms[i].On) == 0 {
		return ""
	}
	unit := benchUnit(f.Alarms[i].On[0])
	var parts []string
	if a.Value != nil {
		parts = append(parts, "value "+unit.text(*a.Value))
	}
	if a.Limit != nil {
		parts = append(parts, "limit "+unit.text(*a.Limit))
	}
	return strings.Join(parts, ", ")
}

// since writes a time of day in the rig's zone, with the date when it was another
// day.
func since(t, now time.Time, f *Facts) string {
	if t.IsZero() {
		return ""
	}
	t, now = f.local(t), f.local(now)
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04:05")
	}
	return t.Format("2 January 2006, 15:04:05")
}

// adviceOf answers "what do I do", the most pressing first. What a class does with
// the flow waits while an alarm of high priority or a trip wants something else.
func adviceOf(state *daq.State, reason error) []string {
	if reason != nil {
		return []string{"Go to the rig: it is not being monitored. Switch the heater off at its own switch until this page shows values again."}
	}
	list := urgentAdvice(state)
	values := &state.Values
	if t, known := values.Get(quantity.SecondsToOverheat); known && t >= 1 && t < soon && len(state.Tripped) == 0 {
		list = append(list, "At its present rate the water reaches its overheat limit in "+roughly(t)+": set the heater lower, or switch it off at its own switch.")
	}
	if len(state.Tripped) > 0 || slices.ContainsFunc(state.Alarms, func(a daq.AlarmStatus) bool {
		return a.Priority == "high" && (a.CauseStands || a.Active || strings.HasSuffix(a.State, "unacknowledged"))
	}) {
		return list
	}
	if e := state.Experiment; e != nil && e.Next != "" {
		return append(list, e.Next)
	}
	return append(list, flowAdvice(values)...)
}

// soon is when the time to overheat is worth a line, in seconds; own judgement.
const soon = 600

func urgentAdvice(state *daq.State) []string {
	var list []string
	add := func(text string) {
		if !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	for _, a := range alarmCards(state, &Facts{}) {
		switch {
		case a.State == "latched-acknowledged":
			add(ofReset(a.Name))
		case a.Action != "" && (a.CauseStands || a.NeedsAnswer):
			add(a.Action)
		}
	}
	for _, name := range state.Tripped {
		if stateOf(name, state.Alarms) == "normal" {
			add(ofReset(name))
		}
	}
	return list
}

func ofReset(name string) string {
	return "Make sure that the cause of " + name + " is gone for good, then reset it."
}

func flowAdvice(s *quantity.Set) []string {
	switch s.Band() {
	case quantity.Unknown:
		return []string{"The regime is unknown: look which reading is bad, and why."}
	case quantity.NoFlow:
		return []string{"No measurable flow: once tube and tank are about equally warm, open the tube valve slightly."}
	}
	steady, known := s.Get(quantity.Steady)
	switch {
	case !known:
		return []string{"Too early to say whether the rig is steady: wait."}
	case steady == 0:
		return []string{"Wait before you note a reading."}
	}
	return []string{"A reading may be noted. Re gives a band; only the dye shows the flow."}
}

// roughly writes seconds as a person would say them.
func roughly(seconds float64) string {
	if seconds < 100 {
		return group(seconds, 0) + " s"
	}
	return group(seconds/60, 0) + " min"
}
