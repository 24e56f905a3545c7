package config

import (
	"fmt"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/water"
)

func (l *loader) crossCheck() {
	l.checkDevices()
	l.checkRegisters()
	l.checkLines()
	l.checkTrip()
	l.checkColdJunctions()
	for i := range l.config.Alarms {
		l.checkAlarm(&l.config.Alarms[i])
	}
	l.checkBoiling()
	for i := range l.config.Alarms {
		for j := range i {
			l.checkConflict(&l.config.Alarms[j], &l.config.Alarms[i])
		}
	}
	l.checkLip()
	l.checkCounters()
	l.checkFlowRange()
	l.checkTemperaturePace()
	l.checkPhysics()
}

// checkDevices refuses two lines on one device.
func (l *loader) checkDevices() {
	ports := l.config.Ports
	for i := range ports {
		for j := range i {
			if ports[i].Device == ports[j].Device && ports[i].Device != "" {
				first, second := l.inOrder("ports", ports[j].Name, ports[i].Name)
				l.report.add(l.at("ports", second, "device"), fmt.Sprintf("ports.%s.device: %s is the device of ports.%s too", second, ports[i].Device, first), "write another device, or put the instruments on one port")
			}
		}
	}
}

// inOrder puts two names of a table in the order of their places.
func (l *loader) inOrder(table, a, b string) (first, second string) {
	if l.at(table, b).line < l.at(table, a).line {
		return b, a
	}
	return a, b
}

// checkRegisters refuses two numbers that share a register.
func (l *loader) checkRegisters() {
	in := l.config.Instruments
	for i := range in {
		for j := range i {
			if in[i].overlaps(&in[j]) {
				first, second := l.inOrder("instruments", in[j].Name, in[i].Name)
				m := l.config.Named(second).Modbus
				l.report.add(l.at("instruments", second, "modbus"), fmt.Sprintf("instruments.%s.modbus: %s of address %d overlaps that of instruments.%s", second, m.registers(), m.Address, first), "write another register, or leave one instrument out")
			}
		}
	}
}

// registers names what a number takes: "input registers 0 to 1".
func (m *Modbus) registers() string {
	what := [...]string{InputTable: "input register", HoldingTable: "holding register", DiscreteTable: "discrete input", CoilTable: "coil"}[m.Table]
	if words := m.Type.Words(); words > 1 {
		return fmt.Sprintf("%ss %d to %d", what, m.Register, int(m.Register)+words-1)
	}
	return fmt.Sprintf("%s %d", what, m.Register)
}

// overlaps reports two numbers in the same registers of one slave.
func (in *Instrument) overlaps(other *Instrument) bool {
	a, b := in.Modbus, other.Modbus
	if a == nil || b == nil || in.Port != other.Port || a.Address != b.Address || a.Table != b.Table {
		return false
	}
	return int(a.Register) < int(b.Register)+b.Type.Words() && int(b.Register) < int(a.Register)+a.Type.Words()
}

// checkLines holds the conversations on one line against one another.
func (l *loader) checkLines() {
	reported := map[string]bool{}
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		port := l.config.Port(in.Port)
		if port == nil {
			continue
		}
		if in.Modbus != nil && port.DataBits != 8 && !reported[port.Name] {
			reported[port.Name] = true
			l.report.add(l.at("ports", port.Name, "framing"), fmt.Sprintf("ports.%s.framing: Modbus RTU needs 8 data bits, and instruments.%s speaks it", port.Name, in.Name), `write "8E1" or "8N1"`)
		}
		sharer := first(l.config.Instruments, func(other Instrument) bool { return other.ID != in.ID && other.Port == in.Port })
		if in.Stream != nil && sharer != nil {
			l.report.add(l.at("instruments", in.Name, "stream"), fmt.Sprintf("instruments.%s: it sends unprompted and cannot share ports.%s with instruments.%s", in.Name, port.Name, sharer.Name), "give it a port of its own")
		}
	}
}

// checkColdJunctions refuses a junction that nobody measures.
func (l *loader) checkColdJunctions() {
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		t := in.Thermocouple
		if t == nil || t.ColdJunction != nil || t.From == in.ID || t.From == quantity.Flow {
			continue
		}
		if t.From > in.ID && l.circular(in) { // told once for both
			l.report.add(l.at("instruments", in.Name, "thermocouple", "cold_junction"), fmt.Sprintf("instruments.%s.thermocouple.cold_junction: its own temperature is needed to measure that of %s", in.Name, t.From.Short()), `write a temperature such as "23 Cel ± 2 K"`)
		}
		if l.config.Instrument(t.From) == nil {
			l.report.add(l.at("instruments", in.Name, "thermocouple", "cold_junction"), fmt.Sprintf("instruments.%s.thermocouple.cold_junction: there is no instrument %s in this file", in.Name, t.From.Short()), fmt.Sprintf(`write [instruments.%s], or a temperature such as "23 Cel ± 2 K"`, t.From.Short()))
		}
	}
}

// circular reports a cold junction that leads back to the instrument itself.
func (l *loader) circular(in *Instrument) bool {
	next := in
	for range quantity.Count {
		if next == nil || next.Thermocouple == nil || next.Thermocouple.ColdJunction != nil {
			return false
		}
		if next.Thermocouple.From == in.ID {
			return true
		}
		next = l.config.Instrument(next.Thermocouple.From)
	}
	return false
}

// checkAlarm holds a limit against what its instruments can measure.
func (l *loader) checkAlarm(a *Alarm) {
	key, limit := a.limit()
	if limit == nil || len(a.On) == 0 {
		return
	}
	d := DimensionOf(a.On[0])
	if a.watchesWater() && *limit <= 0 && l.root.node.child("alarms").child(a.Name).child(key) != nil {
		l.report.add(l.alarmPlace(a, key, a.On[0]), fmt.Sprintf("alarms.%s.%s: water is ice at %s", a.Name, key, Format(*limit, d)), `write a temperature of water, such as "75 Cel"`)
		return
	}
	if on := a.On[0]; a.Kind == AlarmLimit && !a.BuiltIn && quantity.Table[on].Measured && !quantity.Table[on].Required && l.config.Instrument(on) == nil {
		l.report.add(l.at("alarms", a.Name, "on"), fmt.Sprintf("alarms.%s.on: there is no instrument %s in this file", a.Name, on.Short()), fmt.Sprintf("write [instruments.%s], or leave the alarm out", on.Short()))
	}
	if a.Kind == AlarmLimit {
		l.checkReach(a, key, *limit)
	}
	for _, id := range a.On {
		in := l.config.Instrument(id)
		if in == nil || id == quantity.Level && l.config.Tank.Lip.X == 0 {
			continue
		}
		r, name := in.reach()
		if r == nil {
			continue
		}
		if text := a.beyond(r, fmt.Sprintf("the %s of instruments.%s", name, in.Name), *limit, d); text != "" {
			remedy := "change the limit, the deadband or the " + name
			if in.Range == nil {
				remedy += ", or write range where the sensor measures beyond the two points of its scale"
			}
			l.report.add(l.alarmPlace(a, key, id), fmt.Sprintf("alarms.%s: %s", a.Name, text), remedy)
		}
	}
}

// checkBoiling refuses a limit that water cannot pass at this altitude.
func (l *loader) checkBoiling() {
	boiling, err := water.Boiling(l.config.Altitude)
	if err != nil {
		return // the altitude has been checked
	}
	for i := range l.config.Alarms {
		a := &l.config.Alarms[i]
		if a.Above == nil || *a.Above < boiling || !a.watchesWater() {
			continue
		}
		if in := l.config.Instrument(a.On[0]); in != nil {
			if r, _ := in.reach(); r != nil && *a.Above >= r.High {
				continue // has been reported
			}
		}
		l.report.add(l.alarmPlace(a, "above", a.On[0]), fmt.Sprintf("alarms.%s.above: water boils at %.1f Cel at an altitude of %.0f m and never passes %s", a.Name, boiling, l.config.Altitude, Format(*a.Above, Temperature)), "write a limit below boiling")
	}
}

// alarmPlace is where the limit or the deadband stands; for a default the instrument's range.
func (l *loader) alarmPlace(a *Alarm, key string, id quantity.ID) place {
	for _, key := range []string{key, "deadband"} {
		if n := l.root.node.child("alarms").child(a.Name).child(key); n != nil {
			return n.value
		}
	}
	return l.reachPlace(id)
}

// reachPlace is where the range stands, or the scale in its place.
func (l *loader) reachPlace(id quantity.ID) place {
	if in := l.config.Instrument(id); in != nil && in.Range == nil && in.Scale != nil {
		return l.at("instruments", id.Short(), "scale", "to")
	}
	return l.at("instruments", id.Short(), "range")
}

// reach is what the instrument can measure, and the configuration's word for that: its
// range, or the ends of its scale where no range is written; nil where neither says.
func (in *Instrument) reach() (*Range, string) {
	switch {
	case in.Range != nil:
		return in.Range, "range"
	case in.Scale != nil && in.Thermocouple == nil:
		return &Range{min(in.Scale.To[0], in.Scale.To[1]), max(in.Scale.To[0], in.Scale.To[1])}, "scale"
	}
	return nil, ""
}

// beyond says why a limit cannot work within a range; "" when it can.
func (a *Alarm) beyond(r *Range, name string, limit float64, d Dimension) string {
	span := fmt.Sprintf("%s, %s to %s", name, Format(r.Low, d), Format(r.High, d))
	switch {
	case limit < r.Low || limit > r.High, a.Above != nil && limit == r.High, a.Below != nil && limit == r.Low:
		return fmt.Sprintf("the limit of %s is never passed within %s", Format(limit, d), span)
	case a.Above != nil && limit-a.Deadband <= r.Low, a.Below != nil && limit+a.Deadband >= r.High:
		return fmt.Sprintf("with a deadband of %s it never clears within %s", Format(a.Deadband, d.difference()), span)
	}
	return ""
}

// watchesWater reports an alarm on a temperature of the water.
func (a *Alarm) watchesWater() bool {
	switch a.On[0] {
	case quantity.Temperature, quantity.HeaterOutlet, quantity.Tank:
		return true
	}
	return false
}

// checkLip refuses a level sensor that cannot see the overflow.
func (l *loader) checkLip() {
	in := l.config.Instrument(quantity.Level)
	lip := l.config.Tank.Lip.X
	if in == nil || lip == 0 {
		return
	}
	r, name := in.reach()
	if r == nil || lip > r.Low && lip <= r.High {
		return
	}
	remedy := "write the range of the sensor, or the height of the lip above the sensor's datum"
	if in.Range == nil {
		remedy = "write the heights at the two points of the scale, or the height of the lip above the sensor's datum; write range where the sensor measures beyond them"
	}
	l.report.add(l.reachPlace(in.ID), fmt.Sprintf("instruments.level.%s: the lip at %s lies outside it, %s to %s", name, Format(lip, Length), Format(r.Low, Length), Format(r.High, Length)), remedy)
}

// checkFlowRange refuses a meter whose least flow is below none: its lower end
// is where flow begins.
func (l *loader) checkFlowRange() {
	in := l.config.Instrument(quantity.Flow)
	if in == nil || in.Range == nil || in.Range.Low >= 0 {
		return
	}
	l.report.add(l.at("instruments", "flow", "range"), fmt.Sprintf("instruments.flow.range: the lower end of %s is below zero", Format(in.Range.Low, VolumeFlow)), `write the least flow that the meter can tell from none, such as "0.2 L/min"`)
}

// slowestTemperature is how far apart two readings of the water's temperature
// may be: above it no window over time sees a probe out of the water, or a rise.
const slowestTemperature = 10 * time.Second

// pacedTemperature is how far apart they may be for every probe that comes out
// of the water to be found; above it one that follows slowly is missed.
const pacedTemperature = 3 * time.Second

// checkTemperaturePace refuses a slow thermometer where there is a heater, and
// warns of one that sees less than it should.
func (l *loader) checkTemperaturePace() {
	in := l.config.Instrument(quantity.Temperature)
	if in == nil || in.Every <= pacedTemperature || in.Every <= slowestTemperature && !l.config.heats() {
		return
	}
	at, every := l.at("instruments", in.Name, "every"), Format(in.Every.Seconds(), Time)
	if in.Every <= slowestTemperature {
		l.report.warn(at, fmt.Sprintf("instruments.temperature.every: with a reading every %s a probe that comes out of the water and follows slowly is not found, and this rig heats", every), "read it at least every 3 s")
		return
	}
	const remedy = "read it at least every 10 s"
	if l.config.heats() {
		l.report.add(at, fmt.Sprintf("instruments.temperature.every: with a reading every %s a probe out of the water is not found, nor a rise, and this rig heats", every), remedy)
		return
	}
	l.report.warn(at, fmt.Sprintf("instruments.temperature.every: with a reading every %s temperature_rate, seconds_to_overheat and steady come late", every), remedy)
}

// checkCounters refuses a counter that may wrap unseen: until a reading is
// stale, a rate is made from the counts at its ends.
func (l *loader) checkCounters() {
	for i := range l.config.Instruments {
		in := &l.config.Instruments[i]
		if in.Pulses == nil || in.Range == nil || DimensionOf(in.ID) != VolumeFlow {
			continue
		}
		wraps := math.Ldexp(1, in.Pulses.Bits) / (in.Range.High * in.Pulses.PerCubicMeter)
		if wraps <= in.StaleAfter.Seconds() && wraps > 0 {
			l.report.add(l.at("instruments", in.Name, "pulses"), fmt.Sprintf("instruments.%s.pulses: a counter of %d bits wraps every %s at %s, before a reading is stale after %s", in.Name, in.Pulses.Bits, Format(wraps, Time), Format(in.Range.High, VolumeFlow), Format(in.StaleAfter.Seconds(), Time)), "use a wider counter, or write a shorter stale_after")
		}
	}
}
