package web

import (
	"slices"

	"flowrigd/daq"
)

// alarmSetting is a configured alarm as GET /api/alarms?configured gives it: limits and
// deadband in the unit of what it watches, as everywhere in the API.
type alarmSetting struct {
	Name     string   `json:"name"`
	State    string   `json:"state"`
	Priority string   `json:"priority"`
	On       []string `json:"on"` // names of quantities; empty where it watches none
	Above    *float64 `json:"above"`
	Below    *float64 `json:"below"`
	Deadband *float64 `json:"deadband"` // null without a limit
	OnDelay  float64  `json:"on_delay_seconds"`
	Latch    bool     `json:"latch"`
	Trip     bool     `json:"trip"`
	Action   string   `json:"action"`
}

// settingsOf lists every alarm, in the order of the configuration.
func settingsOf(f *Facts, standing []daq.AlarmStatus) []alarmSetting {
	list := make([]alarmSetting, len(f.Alarms))
	for i, a := range f.Alarms {
		list[i] = alarmSetting{
			Name: a.Name, State: stateOf(a.Name, standing), Priority: a.Priority, On: []string{}, Above: a.Above, Below: a.Below,
			OnDelay: a.OnDelay.Seconds(), Latch: a.Latch, Trip: a.Trip, Action: a.Action,
		}
		for _, id := range a.On {
			list[i].On = append(list[i].On, id.Name())
		}
		if a.Above != nil || a.Below != nil {
			list[i].Deadband = &f.Alarms[i].Deadband
		}
	}
	return list
}

// stateOf is an alarm's state; one that is not listed is normal.
func stateOf(name string, standing []daq.AlarmStatus) string {
	i := slices.IndexFunc(standing, func(a daq.AlarmStatus) bool { return a.Name == name })
	if i < 0 {
		return "normal"
	}
	return standing[i].State
}
