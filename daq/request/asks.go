package request

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"flowrigd/config"
	"flowrigd/daq"
)

// LongestText is how much is kept of one text that a person writes, in characters.
const LongestText = 1000

// shelveMost is the longest time for which an alarm is put aside: a day, so that
// one that was forgotten calls again (common practice, no source).
const shelveMost = 24 * time.Hour

// ShelvedFor is the length that a command about an alarm carries: shelving must have
// one, and a reason, and no other may.
func ShelvedFor(verb daq.Verb, length, reason string) (time.Duration, error) {
	switch {
	case verb != daq.Shelve && length != "":
		return 0, fmt.Errorf("for: only shelve has a length; leave it out for %s", verb)
	case verb != daq.Shelve:
		return 0, nil
	case strings.TrimSpace(reason) == "":
		return 0, fmt.Errorf(`reason: shelving needs one; write {"for":"30 min","reason":"…"}`)
	}
	d, err := Length(length)
	if err != nil {
		return 0, fmt.Errorf("for: %w", err)
	}
	if d > shelveMost {
		return 0, fmt.Errorf("for: %s is longer than a day; shelve for 24 h at most, or take the alarm out of service", length)
	}
	return d, nil
}

// Length reads a length of time, such as "30 min", of a year at most.
func Length(text string) (time.Duration, error) {
	v, err := config.ParseQuantity(text, config.Time)
	switch {
	case err != nil: // the configuration's example is one of an instrument
		return 0, errors.New(strings.Replace(err.Error(), `"2 s"`, `"30 min"`, 1))
	case !(v.X > 0) || v.X > (365*24*time.Hour).Seconds():
		return 0, fmt.Errorf(`%q is not a length of time from 0 to a year; write such as "30 min"`, text)
	}
	return time.Duration(v.X * float64(time.Second)), nil
}

// Seen checks what the dye is said to show.
func Seen(text string) error {
	if text != "laminar" && text != "transitional" && text != "turbulent" {
		return fmt.Errorf(`seen: %q is not what a dye thread shows; write {"seen":"laminar"}, "transitional" or "turbulent"`, text)
	}
	return nil
}

// Texts bounds the texts that are kept, by their keys.
func Texts(texts map[string]*string) error {
	for key, text := range texts {
		if n := utf8.RuneCountInString(*text); n > LongestText {
			return fmt.Errorf("%s: %d characters are more than are kept; write up to %d", key, n, LongestText)
		}
	}
	return nil
}
