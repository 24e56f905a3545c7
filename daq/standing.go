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
		e := a.Event()
		e.Tripped = slices.Contains(s.Tripped, a.Name)
		list = append(list, e)
		left = slices.DeleteFunc(left, func(name string) bool { return name == a.Name })
	}
	for _, name := range left {
		list = append(list, AlarmEvent{Name: name, State: alarm.Normal.String(), Priority: "high", Time: s.Time, Tripped: true})
	}
	return list
}
