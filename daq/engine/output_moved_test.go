package engine

import (
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// The permit does not move to a relay where nobody gave it: whatever is changed of
// the place where its relay is takes it away.
func TestAReloadDoesNotMoveThePermit(t *testing.T) {
	for name, c := range map[string]struct {
		pairs []string
		moves bool
	}{
		"another device":         {[]string{"usb-rs485-0", "usb-rs485-1"}, true},
		"another rate":           {[]string{"baud = 19200", "baud = 9600"}, true},
		"another framing":        {[]string{`framing = "8E1"`, `framing = "8N1"`}, true},
		"another time-out":       {[]string{`framing = "8E1"`, "framing = \"8E1\"\ntimeout = \"150 ms\""}, true},
		"another address":        {[]string{"modbus = {address = 9, coil = 0}", "modbus = {address = 10, coil = 0}"}, true},
		"another coil":           {[]string{"modbus = {address = 9, coil = 0}", "modbus = {address = 9, coil = 1}"}, true},
		"none":                   {[]string{"[trip]\nport = \"bus\"\nmodbus = {address = 9, coil = 0}\n", ""}, true},
		"an instrument leaves":   {[]string{"[ports.bus]", "[ports.tc]\ndevice = \"/dev/ttyUSB7\"\n[ports.bus]", "[instruments.level]\nport = \"bus\"", "[instruments.level]\nport = \"tc\""}, false},
		"another port comes":     {[]string{"[ports.bus]", "[ports.tc]\ndevice = \"/dev/ttyUSB7\"\n[ports.bus]"}, false},
		"an instrument's change": {[]string{`fixed = "0.5 K"`, `fixed = "0.6 K"`}, false},
	} {
		b := given(t)
		next := benchConfig(t, changed(t, c.pairs...))
		if config.SameOutput(b.e.cfg, next) == c.moves {
			t.Errorf("%s: counts as moved: %v, want %v", name, !c.moves, c.moves)
		}
		b.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Config: next}})
		if b.state.Permit == c.moves {
			t.Errorf("%s: permit %v", name, b.state.Permit)
		}
		noted := false
		for _, e := range b.events {
			noted = noted || e.Note != nil && strings.Contains(e.Note.Text, "heating permit dropped: a reload moves its relay")
		}
		if noted != c.moves {
			t.Errorf("%s: the journal says that it was dropped: %v", name, noted)
		}
	}
}

// What trip-ineffective says of a drop is true: there was one in this run, or it does
// not speak of one.
func TestTripIneffectiveSaysWhatIsSeen(t *testing.T) {
	says := func(b *heated) string {
		for _, e := range b.events {
			if e.Alarm != nil && e.Alarm.Name == "trip-ineffective" {
				return e.Alarm.Cause
			}
		}
		return ""
	}
	const dropped, never = "The permit was dropped, and still ", "The permit has not been given since this start, and "
	for _, given1 := range []bool{false, true} {
		b := newHeated(t)
		b.run(time.Second, 1.2, 50, 255)
		if given1 {
			b.do(daq.Give, "")
			b.run(time.Second, 1.2, 50, 255)
			b.do(daq.Withdraw, "")
		}
		b.welded = true
		b.run(29*time.Second, 1.2, 50, 255)
		if got := says(b); got != "" {
			t.Errorf("given %v: %q within 30 s", given1, got)
		}
		b.run(2*time.Second, 1.2, 50, 255)
		want, not := never, dropped
		if given1 {
			want, not = dropped, never
		}
		if got := says(b); !strings.Contains(got, want+"the heater draws power.") || strings.Contains(got, not) || !given1 && strings.Contains(got, "dropped") {
			t.Errorf("given %v: %q", given1, got)
		}
	}
	// Without a contact of the heater a temperature that still rises tells of it.
	b := given(t)
	b.do(daq.Withdraw, "")
	b.blind, b.dead = true, nil
	for n := range 200 {
		b.run(200*time.Millisecond, 1.2, 50+0.02*float64(n), 255) // 0.1 K/s
	}
	if got := says(b); !strings.Contains(got, dropped+"the temperature rises by 0.10 K/s.") {
		t.Errorf("a rising temperature: %q", got)
	}
}

// A contact that falls silent does not say that the heater is off: the alarm stands.
func TestTripIneffectiveHoldsWithoutTheContact(t *testing.T) {
	b := newHeated(t)
	b.welded = true
	b.run(40*time.Second, 1.2, 50, 255)
	b.dead = map[quantity.ID]bool{quantity.HeaterOn: true}
	b.run(40*time.Second, 1.2, 50, 255)
	for _, a := range b.state.Alarms {
		if a.Name == "trip-ineffective" && a.State == "unacknowledged" {
			return
		}
	}
	t.Errorf("alarms %+v, want trip-ineffective as it was", b.state.Alarms)
}
