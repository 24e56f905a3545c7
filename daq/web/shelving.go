package web

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// shelveMost is the longest time for which an alarm is put aside: a day, so that
// one that was forgotten calls again (common practice, no source).
const shelveMost = 24 * time.Hour

// shelvedFor is the length that a command about an alarm carries: shelving must have
// one, and a reason, and no other may.
func shelvedFor(verb daq.Verb, body commandBody) (time.Duration, error) {
	switch {
	case verb != daq.Shelve && body.For != "":
		return 0, fmt.Errorf("for: only shelve has a length; leave it out for %s", verb)
	case verb != daq.Shelve:
		return 0, nil
	case strings.TrimSpace(body.Reason) == "":
		return 0, fmt.Errorf(`reason: shelving needs one; write {"for":"30 min","reason":"…"}`)
	}
	length, err := parseLength(body.For)
	if err != nil {
		return 0, fmt.Errorf("for: %w", err)
	}
	if length > shelveMost {
		return 0, fmt.Errorf("for: %s is longer than a day; shelve for 24 h at most, or take the alarm out of service", body.For)
	}
	return length, nil
}

// parseLength reads a length of time, such as "30 min", of a year at most.
func parseLength(text string) (time.Duration, error) {
	v, err := config.ParseQuantity(text, config.Time)
	switch {
	case err != nil: // the configuration's example is one of an instrument
		return 0, errors.New(strings.Replace(err.Error(), `"2 s"`, `"30 min"`, 1))
	case !(v.X > 0) || v.X > (365*24*time.Hour).Seconds():
		return 0, fmt.Errorf(`%q is not a length of time from 0 to a year; write such as "30 min"`, text)
	}
	return time.Duration(v.X * float64(time.Second)), nil
}
