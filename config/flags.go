package config

import (
	"errors"
	"fmt"
	"time"
)

// SetTime reads the time of a flag in RFC 3339; "" is none.
func SetTime(to *time.Time) func(text string) error {
	return func(text string) (err error) {
		if *to, err = time.Parse(time.RFC3339, text); err != nil && text != "" {
			return errors.New("not a time; write RFC 3339, such as 2026-03-02T09:00:00Z")
		}
		return nil
	}
}

// SetDuration reads the length of time of a flag with its unit; "" is none.
func SetDuration(to *time.Duration) func(text string) error {
	return func(text string) error {
		if text == "" {
			return nil
		}
		v, err := ParseQuantity(text, Time)
		*to = time.Duration(v.X * float64(time.Second))
		return err
	}
}

// SetDurationWithin reads a length of time that must lie between two; the message
// shows an example.
func SetDurationWithin(to *time.Duration, least, most time.Duration, example string) func(text string) error {
	return func(text string) error {
		if err := SetDuration(to)(text); err != nil {
			return err
		}
		if *to < least || *to > most {
			return fmt.Errorf("out of range; write a time from %g s to %g h, such as %q", least.Seconds(), most.Hours(), example)
		}
		return nil
	}
}
