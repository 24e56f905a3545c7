package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// faultPrefix goes before an instrument's name in that of its alarm.
const faultPrefix = "instrument-fault-"

// ReceiverFailed is the alarm about those who are told of alarms. Its own
// message is none of those that it watches.
const ReceiverFailed = "receiver-failed"

// The priorities, highest first.
var priorities = []string{"high", "medium", "low"}

const (
	overheatLimit = 75    // degrees Celsius
	lipMargin     = 20e-3 // m, level below the lip at which the head is lost
	limitDelay    = 2 * time.Second
)

// builtIn is an alarm that rigs have by themselves, before the file changes it.
type builtIn struct {
	Alarm
	present      bool
	lacks, write string // where it may be absent: what the file has not, and what to write
}

// builtIns are the built-in alarms, in their order.
func (l *loader) builtIns() []builtIn {
	var faults []builtIn
	for _, in := range l.config.Instruments {
		faults = append(faults, builtIn{Alarm: instrumentFault(in), present: true})
	}
	return slices.Concat(l.config.waterAlarms(), l.heatingAlarms(), faults, l.config.outputAlarms())
}

// waterAlarms watch the water: its temperature wherever it is measured, and its
// level below the lip.
func (c *Config) waterAlarms() []builtIn {
	temperatures := []quantity.ID{quantity.Temperature}
	for _, id := range []quantity.ID{quantity.HeaterOutlet, quantity.Tank} {
		if c.Instrument(id) != nil {
			temperatures = append(temperatures, id)
		}
	}
	return []builtIn{{present: true, Alarm: Alarm{
		Name: "water-overheat", Kind: AlarmLimit, On: temperatures,
		Above: new(float64(overheatLimit)), Deadband: 2, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
		Cause:       "The water is hotter than its limit: the thermostat is set too high, or it does not switch off.",
		Consequence: "Hot water scalds in seconds, and the glass tube may crack.",
		Action:      "Switch the heater off at its own switch, keep hands and face away from tube and outlet, and leave the water supply as it is until heater and tube have cooled.",
	}}, {present: true, Alarm: Alarm{
		Name: "head-lost", Kind: AlarmLimit, On: []quantity.ID{quantity.Level},
		Below: new(c.Tank.Lip.X - lipMargin), Deadband: 5e-3, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
		Cause:       "The water stands below the overflow lip: too little water is supplied, or the tank leaks.",
		Consequence: "The head is no longer constant, readings drift, and the heater may run dry.",
		Action:      "Switch the heater off at its own switch; once heater and tube have cooled, open the water supply slowly until water runs over the lip, and repeat the readings taken meanwhile.",
	}}}
}

// outputAlarms watch that what the daemon gives out arrives.
func (c *Config) outputAlarms() []builtIn {
	return []builtIn{{present: c.Trip != nil, lacks: "there is no heating permit", write: "[trip]", Alarm: Alarm{
		Name: "trip-ineffective", Kind: AlarmIneffective, On: []quantity.ID{quantity.Temperature}, OnDelay: ineffectiveAfter, Priority: "high", Latch: true,
		Cause:       "Heating is not permitted, but the heater is on or the water gets warmer: the relay's contact has welded, or something bypasses it.",
		Consequence: "Software cannot open a welded relay: only the thermal cut-out and the heater's own switch stop the heating.",
		Action:      "Switch the heater off at its own switch now, keep away from hot water and glass, and have a qualified person replace the relay before the heater is used again.",
	}}, {present: true, Alarm: Alarm{
		Name: "recording-failed", Kind: AlarmDisk, OnDelay: 10 * time.Second, Priority: "medium",
		Cause:       "Nothing more is written to the recording: the disk is full, failing or gone.",
		Consequence: "Measurements are lost from now on, and alarms may not survive a restart.",
		Action:      "Free or replace the disk that holds the recording, and note the gap in your results.",
	}}, {present: c.MQTT != nil, lacks: "there is no broker", write: "[mqtt]", Alarm: Alarm{
		Name: "broker-lost", Kind: AlarmBroker, OnDelay: time.Minute, Priority: "medium",
		Cause:       "The MQTT broker does not answer: it or the network to it is down.",
		Consequence: "Nobody sees the rig through the broker; what is recorded is sent when it is back.",
		Action:      "Check the broker and the network, and have somebody stay within sight of the rig.",
	}}, {present: len(c.Notify) > 0, lacks: "there is no receiver", write: "[[notify]]", Alarm: Alarm{
		Name: ReceiverFailed, Kind: AlarmReceiver, OnDelay: 5 * time.Minute, Priority: "medium",
		Cause:       "An alarm waits for a receiver of [[notify]], which does not take it.",
		Consequence: "Whoever this receiver tells does not know of the alarms of this rig; they are sent when it takes them again.",
		Action:      "Stay with the rig while it heats, or switch the heater off at its own switch, and tell those people by another way; then check the receiver, the network to it and its table [[notify]].",
	}}}
}

// instrumentFault watches that an instrument gives good readings.
func instrumentFault(in Instrument) Alarm {
	consequences := map[quantity.ID]string{
		quantity.Flow:         "The Reynolds number and the regime are unknown.",
		quantity.Temperature:  "Overheated water is not seen at the tube, and the Reynolds number is unknown.",
		quantity.Level:        "A lost head, and a tank that runs empty under heat, are not seen.",
		quantity.HeaterOutlet: "Overheated water is not seen there.",
		quantity.Tank:         "Overheated water is not seen there.",
	}
	name := spokenName(in.ID)
	return Alarm{
		Name: faultPrefix + in.Name, Kind: AlarmFault, On: []quantity.ID{in.ID}, Priority: "high",
		Trip:        in.ID == quantity.Temperature || in.ID == quantity.Level,
		Cause:       fmt.Sprintf("No valid reading of %s: the fault is in plug, sensor power, sensor or line settings.", name),
		Consequence: cmp.Or(consequences[in.ID], "What depends on it is unknown."),
		Action:      fmt.Sprintf("Do not heat unattended; once hot parts have cooled, check plug, sensor power and line settings of %s; with flowrigd stopped, `flowrigd probe %s` shows what it answers.", name, in.Name),
	}
}

// spokenName is a quantity's name as people write it.
func spokenName(id quantity.ID) string {
	return strings.Replace(strings.ReplaceAll(id.Short(), "_", " "), "reynolds", "Reynolds", 1)
}

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
		Action:      "If you moved the valve, acknowledge: the next rise is then judged by the losses of now. If nobody did, switch the heater off at its own switch, and once water and tube have cooled, look into inlet, tube and valve.",
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
