package web

import (
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// alarmCard is an alarm as the page shows it.
type alarmCard struct {
	daq.AlarmStatus
	Means       string // the state in a sentence
	Figures     string // value and limit with unit; "" without
	When        string
	CanAck      bool
	CanReset    bool
	NeedsAnswer bool
}

func alarmCards(state *daq.State, f *Facts) []alarmCard {
	list := make([]alarmCard, 0, len(state.Alarms))
	for _, a := range state.Alarms {
		list = append(list, alarmCard{
			AlarmStatus: a,
			Means:       meaning(a.State),
			Figures:     figures(a, f),
			When:        since(a.Since, state.Time),
			CanAck:      strings.HasSuffix(a.State, "unacknowledged"),
			CanReset:    a.State == "latched-acknowledged",
			NeedsAnswer: strings.HasSuffix(a.State, "unacknowledged"),
		})
	}
	slices.SortStableFunc(list, func(a, b alarmCard) int { return urgency(b) - urgency(a) })
	return list
}

// urgency puts unanswered alarms first, then the higher priority.
func urgency(a alarmCard) int {
	n := map[string]int{"high": 3, "medium": 2, "low": 1}[a.Priority]
	if a.NeedsAnswer {
		n += 4
	}
	return n
}

// meaning puts the state of the standard in a sentence.
func meaning(state string) string {
	switch state {
	case "unacknowledged":
		return "It stands, and nobody has answered it yet."
	case "acknowledged":
		return "It stands; somebody has seen it."
	case "returned-unacknowledged":
		return "The cause has gone; nobody has answered it yet."
	case "latched-unacknowledged":
		return "The cause has gone; it is held until somebody acknowledges and resets it."
	case "latched-acknowledged":
		return "The cause has gone; it is held until somebody resets it."
	case "shelved":
		return "Somebody has put it aside for a time: it does not call."
	case "suppressed":
		return "It is suppressed by design: it does not call."
	case "out-of-service":
		return "It is out of service: it does not watch."
	}
	return ""
}

// figures writes an alarm's value and limit in the unit of what it watches.
func figures(a daq.AlarmStatus, f *Facts) string {
	i := slices.IndexFunc(f.Alarms, func(fact AlarmFact) bool { return fact.Name == a.Name })
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

// since writes a time of day, with the date when it was another day.
func since(t, now time.Time) string {
	if t.IsZero() {
		return ""
	}
	t, now = t.Local(), now.Local()
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04:05")
	}
	return t.Format("2 January 2006, 15:04:05")
}

// adviceOf answers "what do I do", the most pressing first.
func adviceOf(state *daq.State, reason error) []string {
	if reason != nil {
		return []string{"Go to the rig: it is not being watched. Switch the heater off by hand until this page shows values again."}
	}
	list := urgentAdvice(state)
	values := &state.Values
	if t, known := values.Get(quantity.SecondsToOverheat); known && t >= 1 && t < soon {
		list = append(list, "At this slope the water reaches its overheat limit in "+roughly(t)+": turn the heater down.")
	}
	return append(list, flowAdvice(values)...)
}

// soon is when the time to overheat is worth a line, in seconds; own judgement.
const soon = 600

func urgentAdvice(state *daq.State) []string {
	var list []string
	for _, a := range alarmCards(state, &Facts{}) {
		switch {
		case a.CanReset:
			list = append(list, "See that the cause of "+a.Name+" is gone for good, then reset it.")
		case a.Action != "" && (a.CauseStands || a.NeedsAnswer):
			list = append(list, a.Action)
		}
	}
	return slices.Compact(list)
}

func flowAdvice(s *quantity.Set) []string {
	switch s.Band() {
	case quantity.Unknown:
		return []string{"The regime is not known: see which reading is bad, and why."}
	case quantity.NoFlow:
		return []string{"There is no flow to speak of: open the tube's valve a little."}
	}
	steady, known := s.Get(quantity.Steady)
	switch {
	case !known:
		return []string{"Too early to say whether the rig is steady: wait."}
	case steady == 0:
		return []string{"Still settling: wait before you note a reading."}
	}
	return []string{"Steady: a reading may be noted. Look at the dye too: the number tells a band, only the dye tells the flow."}
}

// roughly writes seconds as a person would say them.
func roughly(seconds float64) string {
	if seconds < 100 {
		return group(seconds, 0) + " s"
	}
	return group(seconds/60, 0) + " min"
}
