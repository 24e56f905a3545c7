package web

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"flowrigd/daq"
)

// shelveMost is the longest time for which an alarm is put aside: a day, so that
// one that was forgotten calls again (common practice, no source).
const shelveMost = 24 * time.Hour

// fill checks the parts of a command that only some verbs have.
func fill(c *daq.Command, body commandBody) error {
	if c.Verb != daq.Shelve {
		if body.For != "" {
			return fmt.Errorf("for: only shelve has a length; leave it out for %s", c.Verb)
		}
		return nil
	}
	if strings.TrimSpace(body.Reason) == "" {
		return fmt.Errorf(`reason: shelving needs one; write {"for":"30 min","reason":"…"}`)
	}
	length, err := parseLength(body.For)
	if err != nil {
		return fmt.Errorf("for: %w", err)
	}
	if length > shelveMost {
		return fmt.Errorf("for: %s is longer than a day; shelve for 24 h at most, or take the alarm out of service", body.For)
	}
	c.For = length
	return nil
}

// lengthUnits are the UCUM codes of time.
var lengthUnits = map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour, "d": 24 * time.Hour}

// parseLength reads a length of time such as "30 min".
func parseLength(text string) (time.Duration, error) {
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	per, ok := lengthUnits[strings.TrimSpace(unit)]
	v, err := strconv.ParseFloat(number, 64)
	if !ok || err != nil || !(v > 0) || v*float64(per) > float64(365*24*time.Hour) {
		return 0, fmt.Errorf(`%q is not a length of time; write a number and s, min, h or d, such as "30 min"`, text)
	}
	return time.Duration(v * float64(per)), nil
}
