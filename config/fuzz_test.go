package config

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// Whatever text comes, there is a configuration or a problem with a place
// inside the text, in order.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"../testdata/rigs/good/*.toml", "../testdata/rigs/bad/*.toml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatal(pattern, err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, problems := Parse("rig.toml", text)
		if (c == nil) != Fatal(problems) {
			t.Fatalf("config %v with %v", c, problems)
		}
		lines := 1 + bytes.Count(text, []byte("\n"))
		for _, p := range problems {
			if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Column > len(text)+1 || p.Text == "" || p.Remedy == "" {
				t.Fatalf("%d lines: %v", lines, p)
			}
		}
		ordered := slices.IsSortedFunc(problems, func(a, b Problem) int {
			if a.Line != b.Line {
				return a.Line - b.Line
			}
			return a.Column - b.Column
		})
		if !ordered {
			t.Fatal(problems)
		}
		if c != nil {
			checkLoaded(t, c)
		}
	})
}

// checkLoaded holds what every consumer relies on.
func checkLoaded(t *testing.T, c *Config) {
	t.Helper()
	for i := range c.Instruments {
		in := &c.Instruments[i]
		conversations := count(in.Modbus != nil, in.Query != nil, in.Stream != nil)
		meanings := count(in.Unit != nil, in.Scale != nil, in.Pulses != nil)
		if conversations != 1 || meanings != 1 || c.Port(in.Port) == nil || in.Every <= 0 || in.StaleAfter <= in.Every {
			t.Fatalf("%+v", in)
		}
	}
	for _, a := range c.Alarms {
		if a.Kind == AlarmLimit && (count(a.Above != nil, a.Below != nil) != 1 || len(a.On) == 0) || a.Cause == "" || a.Action == "" {
			t.Fatalf("%+v", a)
		}
	}
	if tr := c.Trip; tr != nil && (count(tr.Address > 0, tr.Pulse != NoPulse) != 1 || tr.Refresh > tr.Watchdog/3 || tr.Refresh < c.Interval || c.Port(tr.Port) == nil) {
		t.Fatalf("%+v", tr)
	}
	for _, r := range c.Notify {
		if count(r.Webhook != "", r.Mail != nil) != 1 || len(r.Priorities) == 0 || len(r.Addresses()) == 0 || r.Host() == "" {
			t.Fatalf("%+v", r)
		}
	}
	if c.Tube.Bore.X <= 0 || c.Interval <= 0 || c.Record.Every < c.Interval || c.Record.MaxSize <= 0 {
		t.Fatalf("%+v", c)
	}
}

func count(all ...bool) (n int) {
	for _, yes := range all {
		if yes {
			n++
		}
	}
	return n
}

// BenchmarkParse holds the price of the largest file of the smallest keys.
func BenchmarkParseLargest(b *testing.B) {
	text := largest()
	for b.Loop() {
		Parse("rig.toml", text)
	}
}

func largest() (text []byte) {
	for i := 0; len(text) < maxFile-12; i++ {
		text = append(text, 'k')
		for n := i; n > 0; n /= 26 {
			text = append(text, byte('a'+n%26))
		}
		text = append(text, "=1\n"...)
	}
	return text
}
