package daq

import (
	"slices"

	"flowrigd/daq/alarm"
)

// Standing gives each alarm that is not normal, or holds the permit, as a
// transition to what it is.
func (s *State) Standing() (list []AlarmEvent) {
	left := slices.Clone(s.Tripped)
	for _, a := range s.Alarms {
		list = append(list, AlarmEvent{
			Name: a.Name, State: a.State, Priority: a.Priority, Time: a.Since, Value: a.Value, Limit: a.Limit, Until: a.Until,
			Cause: a.Cause, Consequence: a.Consequence, Action: a.Action, Tripped: slices.Contains(s.Tripped, a.Name),
		})
		left = slices.DeleteFunc(left, func(name string) bool { return name == a.Name })
	}
	for _, name := range left {
		list = append(list, AlarmEvent{Name: name, State: alarm.Normal.String(), Priority: "high", Time: s.Time, Tripped: true})
	}
	return list
}
