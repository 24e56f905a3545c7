package config

import (
	"errors"
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // zones on machines that have no table of their own
	"unicode"
	"unicode/utf8"
)

// loadSite reads the names of the place and what is true of all of it.
func (l *loader) loadSite() {
	s := l.root
	l.config.Site = l.level("site", "north-hall")
	l.config.Rig = l.level("rig", "bench-3")
	// The standard atmosphere is taken where people live.
	l.config.Altitude = s.within("altitude", Length, 0, -430, 6000)
	l.config.Zone = s.zone("zone")
	l.config.Interval = s.duration("interval", 200*time.Millisecond, 10*time.Millisecond, 10*time.Second)
}

// ParseZone reads "local", or the name of a time zone in the IANA database (RFC 6557).
func ParseZone(text string) (*time.Location, error) {
	if text == "local" {
		return time.Local, nil
	}
	zone, err := time.LoadLocation(text)
	if err != nil || text == "" || text == "Local" {
		return nil, errors.New("no such time zone; write local, or a name of the IANA database such as Europe/Paris or UTC")
	}
	return zone, nil
}

// zone reads a time zone by its name in the IANA database (RFC 6557); the
// machine's own where none is written.
func (s *section) zone(key string) *time.Location {
	text, n := s.text(key, "Etc/UTC")
	if n == nil {
		return time.Local
	}
	zone, err := time.LoadLocation(text)
	if err != nil || text == "" || text == "Local" {
		s.bad(key, n, quoted(text)+" is not a time zone", `write a name of the IANA database, such as "Etc/UTC", or leave zone out for this machine's own`)
		return time.Local
	}
	return zone
}

// level reads a required name that serves as one level of a topic.
func (l *loader) level(key, example string) string {
	text, n := l.root.requiredText(key, example, fmt.Sprintf("write %s = %q at the top of the file", key, example))
	if n == nil {
		return ""
	}
	if wrong := levelMistake(text); wrong != "" {
		l.root.bad(key, n, quoted(text)+": "+wrong, fmt.Sprintf("write a name such as %q", example))
	}
	return text
}

// levelMistake says why a text cannot be one level of a topic (MQTT 3.1.1,
// 4.7); "" when it can.
func levelMistake(text string) string {
	switch {
	case text == "":
		return "an empty name"
	case len(text) > 100:
		return "a name longer than 100 bytes"
	case strings.ContainsAny(text, "+#"):
		return "+ and # are wildcards of MQTT"
	case strings.Contains(text, "/"):
		return "a slash parts the levels of a topic"
	case !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "a character that cannot be printed"
	case text != strings.TrimSpace(text):
		return "a blank at an end"
	}
	return ""
}

func (l *loader) loadTank() {
	s := l.required("tank", `write [tank] with lip = "250 mm" and drop = "1.10 m"`)
	if s == nil {
		return
	}
	t := &l.config.Tank
	t.Lip = s.requiredLength("lip", "250 mm", 1e-3, 100)
	t.Drop = s.requiredLength("drop", "1.10 m", -20, 20)
	s.done()
	if s.ok && t.Lip.X+t.Drop.X <= 0 {
		s.report.add(s.place("drop"), fmt.Sprintf("tank.drop: the lip would be %s below the tube's outlet, and no water would run", Format(-t.Lip.X-t.Drop.X, Length)), "write how far the level's datum is above the outlet")
	}
}

func (l *loader) loadRegime() {
	s := l.optional("regime")
	c := &l.config.Regime
	c.LaminarBelow = s.limit("laminar_below", 2000)
	c.TurbulentAbove = s.limit("turbulent_above", 4000)
	s.done()
	if s.ok && c.LaminarBelow >= c.TurbulentAbove {
		s.report.add(s.place("laminar_below"), fmt.Sprintf("regime.laminar_below: %s is not below turbulent_above = %s", short(c.LaminarBelow), short(c.TurbulentAbove)), "write the lower limit here and the upper one there, such as 2000 and 4000")
	}
}

func (s *section) limit(key string, byDefault float64) float64 {
	v, n := s.number(key)
	switch {
	case n == nil:
		return byDefault
	case v < 1 || v > 1e6:
		s.bad(key, n, n.text+" is no limit for a pipe", "write a Reynolds number from 1 to 1000000, such as "+short(byDefault))
		return byDefault
	}
	return v
}
