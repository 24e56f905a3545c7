package rigsim

import (
	"path/filepath"
	"strings"
	"testing"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// Every scenario's rig.toml must be a configuration without a mistake, and
// name every instrument of the rig.
func TestConfigIsAccepted(t *testing.T) {
	for _, name := range Scenarios() {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := newSim(t, Options{Scenario: name, Dir: dir, Config: ConfigOptions{Broker: "embedded"}})
			c, problems := config.Parse(filepath.Join(dir, "rig.toml"), s.Config())
			for _, p := range problems {
				t.Log(p)
			}
			if c == nil {
				t.Fatalf("refused:\n%s", s.Config())
			}
			for _, in := range s.sensors {
				if c.Instrument(in.id) == nil {
					t.Errorf("no instrument %s", quantity.Table[in.id].Short)
				}
			}
			for _, p := range c.Ports {
				if p.Device != filepath.Join(dir, p.Name) {
					t.Errorf("%s is at %s", p.Name, p.Device)
				}
			}
		})
	}
}

// A rig with a permit relay says where it is, with its own watchdog; a rig
// without one says nothing.
func TestConfigOfTheRelay(t *testing.T) {
	const want = "[trip]\nport = \"bus\"\nmodbus = {address = 9, coil = 0}\nrefresh = \"1 s\"\nwatchdog = \"3 s\"\n"
	if text := newSim(t, Options{Relay: true}).Config(); !strings.Contains(string(text), want) {
		t.Errorf("no relay in\n%s", text)
	}
	if text := newSim(t, Options{}).Config(); strings.Contains(string(text), "[trip]") {
		t.Errorf("a relay that is not there in\n%s", text)
	}
}

// What rig.toml says of the tube is what the rigs are drawn from: the deviation of
// the outer diameter is half of its ±, and the dye is watched where the truth is.
func TestThePapersOfTheTube(t *testing.T) {
	c, problems := config.Parse("rig.toml", newSim(t, Options{}).Config())
	if c == nil {
		t.Fatal(problems)
	}
	const n = 2000
	square := 0.0
	for seed := range uint64(n) {
		g := draw(randomStream(seed, streamGeometry))
		d := (g.outer - c.Tube.Outer.X) / c.Tube.Outer.U
		square += d * d
		if g.watchedAt != c.Tube.WatchedAt.X {
			t.Fatalf("seed %d: the dye is watched at %v m, the papers say %v", seed, g.watchedAt, c.Tube.WatchedAt.X)
		}
	}
	near(t, "variance of the outer diameter over its u", square/n, 1, 0.12)
	// A room anywhere from 17 to 25 °C has a deviation of 2.3 K.
	near(t, "room of the papers", c.Tube.Room.X, 21, 1e-9)
	near(t, "its u", c.Tube.Room.U, 2.5, 1e-9)
}
