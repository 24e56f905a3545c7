package config

import (
	"strings"

	"flowrigd/calc/pipe"
	"flowrigd/calc/quantity"
)

// Physics is what the physics is to know of the tube and its tank.
func (c *Config) Physics() pipe.Rig {
	rig := pipe.Rig{
		Bore: c.Tube.Bore, Length: c.Tube.Length, Roughness: c.Tube.Roughness,
		Drop: c.Tank.Drop, Orientation: c.Tube.Orientation,
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
	for _, line := range strings.Split(err.Error(), "\n") {
		path, rest := physicsPath(line)
		wrong, remedy := rest, "write a value within that"
		if at := strings.LastIndex(rest, ": "); at >= 0 {
			wrong, remedy = rest[:at], rest[at+2:]
		}
		l.report.add(l.at(path...), strings.Join(path, ".")+": "+wrong, remedy)
	}
}

// physicsPath is where the value stands that an error of the physics begins
// with, and the rest of the error.
func physicsPath(line string) (path []string, rest string) {
	name, rest, _ := strings.Cut(line, ": ")
	switch name {
	case "drop":
		return []string{"tank", "drop"}, rest
	case "lower limit":
		return []string{"regime", "laminar_below"}, rest
	case "upper limit":
		return []string{"regime", "turbulent_above"}, rest
	case "least flow":
		return []string{"instruments", "flow", "range"}, rest
	}
	return []string{"tube", name}, rest
}
