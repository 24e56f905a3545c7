package config

import (
	"fmt"

	"flowrigd/calc/pipe"
	"flowrigd/calc/uncertainty"
	"flowrigd/calc/water"
)

// loadTube reads the glass tube.
func (l *loader) loadTube() {
	s := l.required("tube", `write [tube] with bore = "13.00 mm ± 0.04 mm" and length = "900 mm"`)
	if s == nil {
		return
	}
	t := &l.config.Tube
	t.Bore = s.requiredLength("bore", "13.00 mm ± 0.04 mm", 0.1e-3, 1)
	t.Length = s.requiredLength("length", "900 mm", 1e-3, 100)
	t.Roughness = s.lengthWithin("roughness", 0, 0.05)
	if s.node.child("roughness") == nil {
		t.Roughness.X = 0.0015e-3 // smooth drawn glass, common practice, no source
	}
	t.Outer = s.lengthWithin("outer", 0.1e-3, 2)
	t.WatchedAt = s.lengthWithin("watched_at", 0, 100)
	t.Room = s.room("room")
	t.MaxRate = s.positive("max_rate", TemperatureRate)
	orientations := map[string]pipe.Orientation{"vertical-down": pipe.VerticalDown, "vertical-up": pipe.VerticalUp, "horizontal": pipe.Horizontal}
	t.Orientation = orientations[s.choice("orientation", "vertical-down", "vertical-up", "horizontal")]
	s.done()
	l.checkTube(s)
	if s.node.child("outer") == nil {
		t.Outer = uncertainty.Expanded(t.Bore.X+3e-3, 1e-3, coverage)
	}
	if s.node.child("watched_at") == nil {
		t.WatchedAt.X = t.Length.X / 2
	}
}

// room reads the temperature that a hall has where no instrument measures it.
func (s *section) room(key string) uncertainty.Value {
	const low, high = -20, 60 // Cel; beyond them nobody stands beside a rig
	byDefault := uncertainty.Expanded(20, 5, coverage)
	v, n := s.measured(key, Temperature)
	switch {
	case n == nil:
		return byDefault
	case v.X < low || v.X > high:
		s.bad(key, n, quoted(n.text)+" is no temperature of a room", fmt.Sprintf("write one from %s to %s, such as \"20 Cel ± 5 K\"", Format(low, Temperature), Format(high, Temperature)))
		return byDefault
	case v.U == 0:
		s.bad(key, n, quoted(n.text)+" has no ±, and a room that is not measured is not known exactly", fmt.Sprintf("write how far it may be away, such as %q", n.text+" ± 5 K"))
		return byDefault
	}
	return v
}

// checkTube holds the lengths of the tube against one another.
func (l *loader) checkTube(s *section) {
	t := l.config.Tube
	if t.Bore.X == 0 || t.Length.X == 0 {
		return
	}
	length := func(m float64) string { return Format(m, Length) }
	wrong := func(key, text, remedy string) { s.report.add(s.place(key), "tube."+key+": "+text, remedy) }
	if t.Length.X < t.Bore.X {
		wrong("length", fmt.Sprintf("%s is shorter than the bore of %s", length(t.Length.X), length(t.Bore.X)), "write the length along the tube")
	}
	if outer := s.node.child("outer"); outer != nil && t.Outer.X > 0 && t.Outer.X <= t.Bore.X {
		wrong("outer", fmt.Sprintf("%s is not more than the bore of %s", length(t.Outer.X), length(t.Bore.X)), "write the outer diameter of the tube")
	}
	if t.WatchedAt.X > t.Length.X {
		wrong("watched_at", fmt.Sprintf("%s is beyond the tube's end at %s", length(t.WatchedAt.X), length(t.Length.X)), "write how far from the inlet the dye is watched")
	}
	// Colebrook's equation is used to a relative roughness of 0.05
	// (Moody, Trans. ASME 66 (1944) 671).
	tooMuch := ""
	switch most, half := t.Bore.X/20, HalfWidth(t.Roughness); {
	case t.Roughness.X > most:
		tooMuch = length(t.Roughness.X)
	case half > most:
		tooMuch = "± " + length(half)
	default:
		return
	}
	wrong("roughness", fmt.Sprintf("%s is more than 5 %% of the bore of %s", tooMuch, length(t.Bore.X)), `write the height of the wall's roughness, such as "0.0015 mm" for glass`)
}

// loadWater reads what is known of the water beside its temperature.
func (l *loader) loadWater() {
	s := l.optional("water")
	// A tap water of 300 mg/L dissolved salts is about 0.05 % more viscous than pure
	// water, a feed of dye less than that (from memory, no source at hand).
	l.config.Water.ViscosityExtra = s.within("viscosity_extra", Percent, 0.001, 0, 0.2)
	s.done()
}

// adviseTurbine warns of a meter that counts turns in water of another viscosity than
// it was calibrated in.
func (l *loader) adviseTurbine() {
	in := l.config.Named("flow")
	if in == nil || in.Pulses == nil || !l.config.heats() {
		return
	}
	cold, err := water.At(20)
	if err != nil {
		return
	}
	hot, err := water.At(65)
	if err != nil {
		return
	}
	l.report.warn(l.at("instruments", "flow", "pulses"), fmt.Sprintf("instruments.flow.pulses: the factor of a turbine or a paddle wheel moves with the viscosity, and water of 65 Cel has %.0f %% of that of 20 Cel", 100*hot.KinematicViscosity/cold.KinematicViscosity), "compare the meter with a timed collection at the highest temperature, or state an accuracy that covers both")
}
