package daqtest

import "slices"

// The moves between the states of an alarm, after ANSI/ISA-18.2 and IEC 62682:
// those that come by themselves and those that only a person makes. An event may
// also repeat a state: shelved for longer, or a trip of a shelved alarm.
var (
	byItself = map[string][]string{
		"normal":                  {"unacknowledged"},
		"unacknowledged":          {"returned-unacknowledged", "latched-unacknowledged"},
		"acknowledged":            {"normal", "latched-acknowledged"},
		"returned-unacknowledged": {"unacknowledged"},
		"latched-unacknowledged":  {"unacknowledged"},
		"latched-acknowledged":    {"unacknowledged"},
		"shelved":                 {"unacknowledged", "latched-unacknowledged", "returned-unacknowledged", "normal"},
		"out-of-service":          {},
	}
	byPerson = map[string][]string{
		"unacknowledged":          {"acknowledged"},
		"returned-unacknowledged": {"normal"},
		"latched-unacknowledged":  {"latched-acknowledged"},
		"latched-acknowledged":    {"normal"},
		"shelved":                 {"unacknowledged", "latched-unacknowledged", "returned-unacknowledged", "normal"},
		"out-of-service":          {"unacknowledged", "latched-unacknowledged", "returned-unacknowledged", "normal"},
	}
)

// LegalMove says whether an alarm may go from one state to another, by itself or
// by a person's command.
func LegalMove(was, is string, person bool) bool {
	if was == is {
		return true
	}
	if !person {
		return slices.Contains(byItself[was], is)
	}
	return is == "out-of-service" || is == "shelved" && was != "out-of-service" || slices.Contains(byPerson[was], is)
}
