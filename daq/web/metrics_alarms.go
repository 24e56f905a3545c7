package web

import (
	"slices"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// alarmSeries is one alarm as it is scraped.
type alarmSeries struct {
	daq.AlarmStatus
	trips bool // it may hold the permit
}

// allAlarms are the configured alarms, so that 0 means "configured and normal",
// then those that stand or hold the permit though the configuration has none of
// them any more.
func allAlarms(s *daq.State, f *Facts) []alarmSeries {
	var list []alarmSeries
	at := map[string]int{}
	add := func(a alarmSeries) {
		at[a.Name] = len(list)
		list = append(list, a)
	}
	for _, fact := range f.Alarms {
		add(alarmSeries{daq.AlarmStatus{Name: fact.Name, Priority: fact.Priority}, fact.Trip})
	}
	for _, a := range s.Alarms {
		if i, known := at[a.Name]; known {
			a.Priority = list[i].Priority
			list[i].AlarmStatus = a
		} else {
			add(alarmSeries{a, a.Trips})
		}
	}
	for _, name := range s.Tripped {
		if _, known := at[name]; !known {
			add(alarmSeries{daq.AlarmStatus{Name: name, Priority: "high"}, true})
		}
		list[at[name]].Tripped, list[at[name]].trips = true, true
	}
	return list
}

func collectAlarms(put func(Stat), s *daq.State, f *Facts, id daq.Identity) {
	_, fitted := s.Values.Get(quantity.HeatingPermitted)
	if fitted {
		put(permitGiven.If(s.Given, id.Site, id.Rig))
		put(permitProofTest.If(s.ProofTest, id.Site, id.Rig))
	}
	for _, a := range allAlarms(s, f) {
		put(alarmActive.If(a.Active, a.Name, a.Priority))
		put(alarmUnacknowledged.If(strings.HasSuffix(a.State, "unacknowledged"), a.Name, a.Priority))
		put(alarmShelved.If(a.State == "shelved", a.Name, a.Priority))
		put(alarmOutOfService.If(a.State == "out-of-service" || a.State == "suppressed", a.Name, a.Priority))
		if fitted && a.trips {
			put(permitTripped.If(a.Tripped, a.Name, a.Priority))
			put(permitWithout.If(slices.Contains(s.Without, a.Name), a.Name, a.Priority))
		}
	}
}
