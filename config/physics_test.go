package config

import (
	"testing"

	"flowrigd/calc/uncertainty"
)

// What the physics refuses is a problem at its place even where no check of
// the single value has found it. The values are put in behind the reading.
func TestPhysicsIsTheNet(t *testing.T) {
	text := load(t, "bench").Text
	tests := []struct {
		name   string
		change func(c *Config)
		want   string
	}{
		{"nothing", func(*Config) {}, ""},
		{"bore", func(c *Config) { c.Tube.Bore.X = 2 }, "rig.toml:7:8: tube.bore: 2 m is outside 0.0001 to 1 m; give the inner diameter of the tube"},
		{"length", func(c *Config) { c.Tube.Length.U = 200 }, "rig.toml:8:10: tube.length: standard uncertainty 200 m is outside 0 to 99.999 m; give it smaller than the value"},
		{"roughness", func(c *Config) { c.Tube.Roughness.X = 0.001 }, "rig.toml:9:13: tube.roughness: 0.001 m is outside 0 to 0.00065 m; give the roughness of the wall, 0.0015 mm for drawn glass"},
		{"drop", func(c *Config) { c.Tank.Drop = uncertainty.Value{X: 30} }, "rig.toml:14:8: tank.drop: 30 m is outside -20 to 20 m; give the height of the level datum above the outlet"},
		{"lower limit", func(c *Config) { c.Regime.LaminarBelow = 0 }, "rig.toml:17:17: regime.laminar_below: Reynolds number 0 is outside 1 to 1e+06; give about 2000"},
		{"upper limit", func(c *Config) { c.Regime.TurbulentAbove = 2e6 }, "rig.toml:18:19: regime.turbulent_above: Reynolds number 2e+06 is outside 2000 (the lower limit) to 1e+06; give about 4000"},
		{"least flow", func(c *Config) { c.Instruments[0].Range.Low = -1 }, "rig.toml:36:10: instruments.flow.range: -1 m³/s is negative or not a number; give the lower end of the meter's range"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := &report{file: "rig.toml"}
			l := &loader{report: r, root: newSection(parseTree(text, r), "", r), dir: t.TempDir()}
			l.load()
			r.problems = nil // warnings
			tt.change(&l.config)
			l.checkPhysics()
			got := ""
			if len(r.problems) > 0 {
				got = r.problems[0].String()
			}
			equal(t, "problem", got, tt.want)
		})
	}
}
