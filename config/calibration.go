package config

import (
	"fmt"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// Calibration is what a certificate states, in place of the maker's limits of
// error: standard uncertainties, and a drift since its date. Fixed is in SI (K for
// temperatures), OfReading a fraction of the reading; they add up.
type Calibration struct {
	Fixed, OfReading           float64 // standard uncertainty
	DriftFixed, DriftOfReading float64 // half-width that a second adds
	Date                       time.Time
	Due                        time.Duration // 0: not stated
}

// Overdue reports whether the next calibration is due at a time.
func (c *Calibration) Overdue(now time.Time) bool {
	return c.Due > 0 && now.Sub(c.Date) > c.Due
}

const julianYear = 31_557_600 // s, the year of UCUM's unit a

// calibration reads a certificate.
func (s *section) calibration(d Dimension, now time.Time) *Calibration {
	const example = `calibration = {u = "0.05 K", k = 2, date = "2026-05-01"}`
	s.require("u", "write the uncertainty of the certificate, such as "+example)
	s.require("date", "write the day of the certificate, such as "+example)
	c := &Calibration{}
	c.Fixed, c.OfReading = s.share("u", "", d)
	c.DriftFixed, c.DriftOfReading = s.share("drift", "/a", d)
	k, n := s.number("k")
	switch {
	case n == nil:
		k = coverage
	case k < 1 || k > 4:
		s.bad("k", n, n.text+" is no coverage factor", "write the k of the certificate, 2 for most")
		k = coverage
	}
	c.Fixed, c.OfReading = c.Fixed/k, c.OfReading/k
	c.DriftFixed, c.DriftOfReading = c.DriftFixed/julianYear, c.DriftOfReading/julianYear
	c.Date = s.day("date", now)
	c.Due = s.duration("due", 0, 24*time.Hour, 20*julianYear*time.Second)
	return c
}

// share reads a distance of the dimension, or a percentage of the reading, behind
// which a text such as "/a" may have to stand.
func (s *section) share(key, behind string, d Dimension) (fixed, ofReading float64) {
	n := s.take(key)
	if n == nil {
		return 0, 0
	}
	text, found := strings.CutSuffix(strings.TrimSpace(n.text), behind)
	if behind != "" && !found {
		s.bad(key, n, quoted(n.text)+" does not say in what time", fmt.Sprintf("write so much in a year, such as %q", n.text+behind))
		return 0, 0
	}
	m := *n
	m.text = strings.TrimSpace(text)
	if strings.HasSuffix(m.text, "%") && d != Percent {
		d = Percent
	}
	v, ok := s.parse(key, &m, d.difference())
	switch {
	case !ok:
		return 0, 0
	case v.X < 0 || v.U != 0 || v.X == 0 && behind == "":
		s.bad(key, n, quoted(n.text)+" is no uncertainty", "write it above zero and without ±")
		return 0, 0
	case d == Percent:
		return 0, v.X
	}
	return v.X, 0
}

// day reads a date that is not in the future.
func (s *section) day(key string, now time.Time) time.Time {
	text, n := s.text(key, "2026-05-01")
	if n == nil {
		return time.Time{}
	}
	day, err := time.Parse(time.DateOnly, text)
	switch {
	case err != nil:
		s.bad(key, n, quoted(text)+" is no date", `write year, month and day, such as "2026-05-01"`)
	case day.After(now.Add(24 * time.Hour)): // zones are up to 14 h ahead
		s.bad(key, n, quoted(text)+" is in the future", "write the day of the certificate, and check this machine's clock")
	}
	return day
}

// adviseCalibrations warns of instruments whose next calibration is due.
func (l *loader) adviseCalibrations() {
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		if c := in.Calibration; c != nil && c.Overdue(l.now) {
			l.report.warn(l.at("instruments", in.Name, "calibration"), fmt.Sprintf("instruments.%s.calibration: due since %s", in.Name, c.Date.Add(c.Due).Format(time.DateOnly)), "have it calibrated, or compare it with one that is, and write the new certificate")
		}
	}
}

// hydrostatic reads the water temperature at which a level sensor that weighs the
// water above it was set; NaN where it is no such sensor.
func (s *section) hydrostatic(in *Instrument) *float64 {
	n := s.take("hydrostatic_at")
	switch {
	case n == nil:
		return nil
	case in.ID != quantity.Level:
		s.refuse(n, s.path("hydrostatic_at")+": only a level is weighed", "leave it out")
		return nil
	}
	v := s.within("hydrostatic_at", Temperature, 20, 0, 100)
	return &v
}
