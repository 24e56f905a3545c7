package rigsim

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq/clock"
)

// rig.toml of a rig whose physics alone is faster says so, and lets the water
// fall faster; with a clock that the daemon shares there is nothing to say.
func TestTheConfigurationSaysWhatItsSpeedMeans(t *testing.T) {
	for _, c := range []struct {
		name   string
		speed  float64
		clock  *clock.Clock
		hasten bool
	}{
		{"speed 1", 1, nil, false},
		{"physics alone", 10, nil, true},
		{"one clock", 10, clock.NewFast(10), false},
	} {
		s, err := New(Options{Scenario: "dry-heating", Relay: true, Memory: true, Speed: c.speed, Clock: c.clock})
		must(t, err)
		text := string(s.Config())
		if got := strings.Contains(text, "# Its physics runs 10 times as fast as the clock, and nothing else does"); got != c.hasten {
			t.Errorf("%s: it says what the speed means: %v", c.name, got)
		}
		if got := strings.Contains(text, `max_fall = "8 K/s"`); got != c.hasten {
			t.Errorf("%s: it allows a faster fall: %v", c.name, got)
		}
	}
}

// A rig with a shared clock is where that clock is, whatever the machine's says,
// and a late answer is late by it.
func TestARigFollowsTheClockThatItShares(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := clock.NewFast(10)
		s, err := New(Options{Memory: true, Speed: 10, Clock: clock})
		must(t, err)
		began := time.Now()
		time.Sleep(time.Minute) // before the start
		clock.Start()
		time.Sleep(2 * time.Second)
		if at := s.Truth().Time; s.at != 20*time.Second || !at.Equal(began.Add(time.Minute+20*time.Second)) {
			t.Errorf("after 2 s the rig is at %v, its time is %v later", s.at, at.Sub(began))
		}
		before := time.Now()
		s.late(nil, 350*time.Millisecond)
		if took := time.Since(before); took != 35*time.Millisecond {
			t.Errorf("an answer late by 350 ms took %v of the machine's", took)
		}
	})
}
