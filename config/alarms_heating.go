package config

import (
	"time"

	"flowrigd/calc/quantity"
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

// heatingAlarms are those about heating, glass and tube.
func (l *loader) heatingAlarms() []builtIn {
	c := &l.config
	const noHeater, writeHeater = "there is no heater", "[trip] or [instruments.heater_on]"
	supply := builtIn{present: c.heats() && c.provesSupply(), lacks: noHeater, write: writeHeater, Alarm: c.heatingWithoutSupply()}
	if c.heats() {
		supply.lacks, supply.write = "no supply is measured", "[instruments.supply_flow] or [instruments.supply_on]"
	}
	return []builtIn{supply, {present: c.heats(), lacks: noHeater, write: writeHeater, Alarm: Alarm{
		Name: "temperature-implausible", Kind: AlarmImplausible, On: []quantity.ID{quantity.Temperature}, MaxFall: usualFall, Priority: "high", Trip: true,
		Cause:       "The temperature does not rise although the heater heats, or falls faster than the tank can cool: the probe is out of the water, or the heater does not heat.",
		Consequence: "Overheated water is not seen at the tube.",
		Action:      "Switch the heater off at its own switch, and once heater and tube have cooled, put the probe back into the water.",
	}}, {present: c.Tube.MaxRate > 0, lacks: "there is no largest rate", write: `tube.max_rate, such as max_rate = "5 K/min"`, Alarm: Alarm{
		Name: "temperature-rising-fast", Kind: AlarmRate, On: []quantity.ID{quantity.TemperatureRate},
		Above: new(c.Tube.MaxRate), Deadband: defaultDeadband(c.Tube.MaxRate, TemperatureRate), OnDelay: limitDelay, Priority: "high",
		Cause:       "The water is heating faster than the tube's limit (`tube.max_rate`).",
		Consequence: "The glass may crack from thermal shock, and hot water and broken glass fall out.",
		Action:      "Set the heater lower, or switch it off at its own switch; stay clear of the tube, and wear eye protection until the temperature is steady.",
	}}, {present: l.root.node.child("alarms").child("tube-blocked").isTable(), Alarm: Alarm{
		Name: "tube-blocked", Kind: AlarmBlocked, On: []quantity.ID{quantity.LossCoefficient}, OnDelay: limitDelay, Priority: "medium",
		Cause:       "Losses rose without a noted valve change: something is stuck in inlet, tube or valve, or the valve was moved.",
		Consequence: "The flow is smaller than at this valve setting before, and readings taken now do not compare with earlier ones.",
		Action:      "Switch the heater off at its own switch, and once water and tube have cooled, look into inlet, tube and valve.",
	}}}
}

// heatingWithoutSupply watches that water runs through the heater.
func (c *Config) heatingWithoutSupply() Alarm {
	a := Alarm{
		Name: "heating-without-supply", Kind: AlarmNoSupply, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
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
