package report

import (
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot"
)

func labels(ticks []plot.Tick) string {
	var list []string
	for _, t := range ticks {
		if t.Label != "" {
			list = append(list, t.Label)
		}
	}
	return strings.Join(list, " ")
}

func TestTicks(t *testing.T) {
	kolkata := time.FixedZone("IST", 5*3600+1800)
	at := func(h, m int) float64 { return float64(time.Date(2031, 5, 6, h, m, 0, 0, time.UTC).Unix()) }
	for _, c := range []struct {
		name, got, want string
	}{
		{"linear", labels(linearTicks(0, 1)), "0.0 0.2 0.4 0.6 0.8 1.0"},
		{"large", labels(linearTicks(1480, 2620)), "1600 1800 2000 2200 2400 2600"},
		{"small", labels(linearTicks(0.031, 0.0449)), "0.032 0.034 0.036 0.038 0.040 0.042 0.044"},
		{"nothing", labels(linearTicks(2, 2)), ""},
		{"decade", labels(logTicks(900, 5000)), "1000 2000 5000"},
		{"fractions", labels(logTicks(0.02, 0.2)), "0.02 0.05 0.1 0.2"},
		{"wide", labels(logTicks(1, 1e4)), "1 10 100 1000 10000"},
		{"log of nothing", labels(logTicks(0, 5)), ""},
		{"hours", labels(timeTicks(time.UTC)(at(9, 10), at(13, 0))), "09:30 10:00 10:30 11:00 11:30 12:00 12:30 13:00"},
		{"half an hour off", labels(timeTicks(kolkata)(at(9, 10), at(13, 0))), "15:00 15:30 16:00 16:30 17:00 17:30 18:00 18:30"},
		{"seconds", labels(timeTicks(time.UTC)(at(9, 0), at(9, 1))), "09:00:00 09:00:10 09:00:20 09:00:30 09:00:40 09:00:50 09:01:00"},
		{"days", labels(timeTicks(time.UTC)(at(0, 0), at(0, 0)+6*86400)), "6 May 7 May 8 May 9 May 10 May 11 May 12 May"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.name, c.got, c.want)
		}
	}
}
