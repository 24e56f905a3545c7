package config

import (
	"slices"
	"time"

	"flowrigd/calc/quantity"
)

// The names of the built-in alarms about heating, glass and tube.
const (
	noSupply    = "heating-without-supply"
	implausible = "temperature-implausible"
	risingFast  = "temperature-rising-fast"
	tubeBlocked = "tube-blocked"
	ineffective = "trip-ineffective"
)

// usualFall is the fall of the water's temperature, K/s, that no common tank
// makes: water of a heater of 9 kW that fails cools a tank of 5 litres by
// P/(ρ·c·V) = 0.44 K/s at first. A probe in the air falls by more than 1 K/s
// (common practice, no source).
const usualFall = 0.8

// provenSupply is the least flow that proves a supply where the meter's range
// is not stated, m³/s (0.2 L/min; common practice, no source).
const provenSupply = 0.2e-3 / 60

// ineffectiveAfter is how long after a drop the heater has to be off.
const ineffectiveAfter = 30 * time.Second

// heats reports a heater that is permitted or seen.
func (c *Config) heats() bool {
	return c.Trip != nil || c.Instrument(quantity.HeaterOn) != nil
}

// provesSupply reports a supply that is measured.
func (c *Config) provesSupply() bool {
	return c.Instrument(quantity.SupplyFlow) != nil || c.Instrument(quantity.SupplyOn) != nil
}

// heatingAlarms are those of this rig about heating, glass and tube.
func (l *loader) heatingAlarms() (alarms []Alarm) {
	c := &l.config
	if c.heats() && c.provesSupply() {
		alarms = append(alarms, c.heatingWithoutSupply())
	}
	if c.heats() {
		alarms = append(alarms, Alarm{
			Name: implausible, BuiltIn: true, Kind: AlarmImplausible, On: []quantity.ID{quantity.Temperature}, MaxFall: usualFall, Priority: "high", Trip: true,
			Cause:       "The temperature does not rise although the heater heats, or falls faster than the tank can cool: the probe is out of the water, or the heater does not heat.",
			Consequence: "Overheated water is not seen at the tube.",
			Action:      "Switch the heater off at its own switch, and once heater and tube have cooled, put the probe back into the water.",
		})
	}
	if c.Tube.MaxRate > 0 {
		alarms = append(alarms, c.temperatureRisingFast())
	}
	if l.root.node.child("alarms").child(tubeBlocked).isTable() {
		alarms = append(alarms, Alarm{
			Name: tubeBlocked, BuiltIn: true, Kind: AlarmBlocked, On: []quantity.ID{quantity.LossCoefficient}, OnDelay: limitDelay, Priority: "medium",
			Cause:       "Losses rose without a noted valve change: something is stuck in inlet, tube or valve, or the valve was moved.",
			Consequence: "The flow is smaller than at this valve setting before, and readings taken now do not compare with earlier ones.",
			Action:      "Switch the heater off at its own switch, and once water and tube have cooled, look into inlet, tube and valve.",
		})
	}
	return alarms
}

// heatingWithoutSupply watches that water runs through the heater.
func (c *Config) heatingWithoutSupply() Alarm {
	a := Alarm{
		Name: noSupply, BuiltIn: true, Kind: AlarmNoSupply, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
		Cause:       "The heater is on or permitted, and nothing shows that water runs through it: the tap is shut, the filter is blocked, or the sensor of the water supply has failed.",
		Consequence: "The water in the heater boils: steam and hot water spray out, and the heater burns dry.",
		Action:      "Switch the heater off at its own switch, keep away from its outlet, and leave the water supply as it is until heater and tube have cooled: cold water on a hot dry heater flashes to steam.",
	}
	if in := c.Instrument(quantity.SupplyFlow); in != nil {
		limit := provenSupply
		if in.Range != nil {
			limit = in.Range.Low + 0.02*(in.Range.High-in.Range.Low)
		}
		a.On, a.Below, a.Deadband = []quantity.ID{quantity.SupplyFlow}, &limit, defaultDeadband(limit, VolumeFlow)
	}
	if c.Instrument(quantity.SupplyOn) != nil {
		a.On = append(a.On, quantity.SupplyOn)
	}
	return a
}

// temperatureRisingFast watches what the glass bears.
func (c *Config) temperatureRisingFast() Alarm {
	limit := c.Tube.MaxRate
	return Alarm{
		Name: risingFast, BuiltIn: true, Kind: AlarmRate, On: []quantity.ID{quantity.TemperatureRate},
		Above: &limit, Deadband: defaultDeadband(limit, TemperatureRate), OnDelay: limitDelay, Priority: "high",
		Cause:       "The water is heating faster than the tube's limit (`tube.max_rate`).",
		Consequence: "The glass may crack from thermal shock, and hot water and broken glass fall out.",
		Action:      "Set the heater lower, or switch it off at its own switch; stay clear of the tube, and wear eye protection until the temperature is steady.",
	}
}

// tripIneffective watches that a dropped permit stops the heat.
func tripIneffective() Alarm {
	return Alarm{
		Name: ineffective, BuiltIn: true, Kind: AlarmIneffective, On: []quantity.ID{quantity.Temperature}, OnDelay: ineffectiveAfter, Priority: "high", Latch: true,
		Cause:       "Heating is not permitted, but the heater is on or the water gets warmer: the relay's contact has welded, or something bypasses it.",
		Consequence: "Software cannot open a welded relay: only the thermal cut-out and the heater's own switch stop the heating.",
		Action:      "Switch the heater off at its own switch now, keep away from hot water and glass, and have a qualified person replace the relay before the heater is used again.",
	}
}

// absent says why a built-in alarm is not in this file; "" for other names.
func (l *loader) absent(name string) (wrong, remedy string) {
	c := &l.config
	switch {
	case name == noSupply && !c.heats(), name == implausible:
		return "there is no heater in this file", "write [trip] or [instruments.heater_on], or leave the alarm out"
	case name == noSupply:
		return "no supply is measured in this file", "write [instruments.supply_flow] or [instruments.supply_on], or leave the alarm out"
	case name == risingFast:
		return "there is no largest rate in this file", `write tube.max_rate, such as max_rate = "5 K/min", or leave the alarm out`
	case name == ineffective:
		return "there is no heating permit in this file", "write [trip], or leave the alarm out"
	case name == ReceiverFailed:
		return "there is no receiver in this file", "write [[notify]], or leave the alarm out"
	case name == brokerLost:
		return "there is no broker in this file", "write [mqtt], or leave the alarm out"
	}
	return "", ""
}

// changeLimit reads what the file says otherwise of a built-in alarm's limit.
func (s *section) changeLimit(a *Alarm) {
	switch {
	case a.Kind == AlarmRate:
		if n := s.node.child("above"); n != nil {
			s.take("above")
			s.refuse(n, s.path("above")+": its limit is tube.max_rate", "write tube.max_rate, and leave above out")
		}
		a.Deadband = s.deadband(a.Deadband, TemperatureRate)
	case a.Kind == AlarmImplausible:
		if v := s.positive("max_fall", TemperatureRate); v > 0 {
			a.MaxFall = v
		}
	case slices.Contains([]AlarmKind{AlarmLimit, AlarmNoSupply}, a.Kind) && (a.Above != nil || a.Below != nil):
		d := DimensionOf(a.On[0])
		key, limit := a.limit()
		if v, n := s.setting(key, d); n != nil {
			*limit = v
		}
		a.Deadband = s.deadband(a.Deadband, d)
	}
}
