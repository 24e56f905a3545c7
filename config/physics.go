package config

import (
	"strings"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

// Physics is what the physics is to know of the tube and its tank.
func (c *Config) Physics() pipe.Rig {
	rig := pipe.Rig{
		Bore: c.Tube.Bore, Length: c.Tube.Length, Roughness: c.Tube.Roughness,
		Outer: c.Tube.Outer, WatchedAt: c.Tube.WatchedAt, Room: pipe.Input{Value: c.Tube.Room, Known: true},
		ViscosityExtra: uncertainty.Limits(0, c.Water.ViscosityExtra),
		Drop:           c.Tank.Drop, Orientation: c.Tube.Orientation,
		LaminarBelow: c.Regime.LaminarBelow, TurbulentAbove: c.Regime.TurbulentAbove,
	}
	if in := c.Instrument(quantity.Flow); in != nil && in.Range != nil {
		rig.FlowMin = in.Range.Low
	}
	return rig
}

// checkPhysics refuses what the physics would refuse at the start, should a
// check of the single values have let it through. Where one has been reported
// already it says nothing.
func (l *loader) checkPhysics() {
	if Fatal(l.report.problems) {
		return
	}
	_, err := pipe.New(l.config.Physics())
	if err == nil {
		return
	}
	for line := range strings.SplitSeq(err.Error(), "\n") {
		name, wrong, _ := strings.Cut(line, ": ")
		path, elsewhere := physicsPaths[name]
		if !elsewhere {
			path = []string{"tube", name}
		}
		remedy := "write a value within that"
		if at := strings.LastIndex(wrong, ": "); at >= 0 {
			wrong, remedy = wrong[:at], wrong[at+2:]
		}
		l.report.add(l.at(path...), strings.Join(path, ".")+": "+wrong, remedy)
	}
}

// physicsPaths are where the values stand that an error of the physics begins with,
// but for those of [tube].
var physicsPaths = map[string][]string{
	"drop":        {"tank", "drop"},
	"lower limit": {"regime", "laminar_below"},
	"upper limit": {"regime", "turbulent_above"},
	"least flow":  {"instruments", "flow", "range"},

	"viscosity_extra": {"water", "viscosity_extra"},
}
