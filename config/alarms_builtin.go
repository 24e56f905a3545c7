package config

import (
	"fmt"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// The names of the built-in alarms; faultPrefix goes before an instrument's.
const (
	waterOverheat   = "water-overheat"
	headLost        = "head-lost"
	recordingFailed = "recording-failed"
	brokerLost      = "broker-lost"
	faultPrefix     = "instrument-fault-"
)

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

// builtInAlarms are the alarms of this rig before the file changes them.
func (l *loader) builtInAlarms() []Alarm {
	c := &l.config
	alarms := append([]Alarm{l.overheat(), l.headLost()}, l.heatingAlarms()...)
	for i := range c.Instruments {
		alarms = append(alarms, instrumentFault(&c.Instruments[i]))
	}
	if c.Trip != nil {
		alarms = append(alarms, tripIneffective())
	}
	alarms = append(alarms, Alarm{
		Name: recordingFailed, BuiltIn: true, Kind: AlarmDisk, OnDelay: 10 * time.Second, Priority: "medium",
		Cause:       "Nothing more is written to the recording: the disk is full, failing or gone.",
		Consequence: "Measurements are lost from now on, and alarms may not survive a restart.",
		Action:      "Free or replace the disk that holds the recording, and note the gap in your results.",
	})
	if c.MQTT != nil {
		alarms = append(alarms, Alarm{
			Name: brokerLost, BuiltIn: true, Kind: AlarmBroker, OnDelay: time.Minute, Priority: "medium",
			Cause:       "The MQTT broker does not answer: it or the network to it is down.",
			Consequence: "Nobody sees the rig through the broker; what is recorded is sent when it is back.",
			Action:      "Check the broker and the network, and have somebody stay within sight of the rig.",
		})
	}
	if len(c.Notify) > 0 {
		alarms = append(alarms, Alarm{
			Name: ReceiverFailed, BuiltIn: true, Kind: AlarmReceiver, OnDelay: 5 * time.Minute, Priority: "medium",
			Cause:       "An alarm waits for a receiver of [[notify]], which does not take it.",
			Consequence: "Whoever this receiver tells does not know of the alarms of this rig; they are sent when it takes them again.",
			Action:      "Stay with the rig while it heats, or switch the heater off at its own switch, and tell those people by another way; then check the receiver, the network to it and its table [[notify]].",
		})
	}
	return alarms
}

// overheat watches the water wherever its temperature is measured.
func (l *loader) overheat() Alarm {
	limit := float64(overheatLimit)
	a := Alarm{
		Name: waterOverheat, BuiltIn: true, Kind: AlarmLimit, On: []quantity.ID{quantity.Temperature},
		Above: &limit, Deadband: 2, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
		Cause:       "The water is hotter than its limit: the thermostat is set too high, or it does not switch off.",
		Consequence: "Hot water scalds in seconds, and the glass tube may crack.",
		Action:      "Switch the heater off at its own switch, keep hands and face away from tube and outlet, and leave the water supply as it is until heater and tube have cooled.",
	}
	for _, id := range []quantity.ID{quantity.HeaterOutlet, quantity.Tank} {
		if l.config.Instrument(id) != nil {
			a.On = append(a.On, id)
		}
	}
	return a
}

// headLost watches the level below the lip.
func (l *loader) headLost() Alarm {
	limit := l.config.Tank.Lip.X - lipMargin
	return Alarm{
		Name: headLost, BuiltIn: true, Kind: AlarmLimit, On: []quantity.ID{quantity.Level},
		Below: &limit, Deadband: 5e-3, OnDelay: limitDelay, Priority: "high", Latch: true, Trip: true,
		Cause:       "The water stands below the overflow lip: too little water is supplied, or the tank leaks.",
		Consequence: "The head is no longer constant, readings drift, and the heater may run dry.",
		Action:      "Switch the heater off at its own switch; once heater and tube have cooled, open the water supply slowly until water runs over the lip, and repeat the readings taken meanwhile.",
	}
}

// instrumentFault watches that an instrument gives good readings.
func instrumentFault(in *Instrument) Alarm {
	critical := in.ID == quantity.Temperature || in.ID == quantity.Level
	return Alarm{
		Name: faultPrefix + in.Name, BuiltIn: true, Kind: AlarmFault, On: []quantity.ID{in.ID}, Priority: "high", Trip: critical,
		Cause:       fmt.Sprintf("No valid reading of %s: the fault is in plug, sensor power, sensor or line settings.", spokenName(in.ID)),
		Consequence: faultConsequence(in.ID),
		Action:      fmt.Sprintf("Do not heat unattended; try `flowrigd probe %s`, and once hot parts have cooled, check plug, sensor power and line settings of %s.", in.Name, spokenName(in.ID)),
	}
}

// spokenName is a quantity's name as people write it.
func spokenName(id quantity.ID) string {
	return strings.Replace(strings.ReplaceAll(id.Short(), "_", " "), "reynolds", "Reynolds", 1)
}

func faultConsequence(id quantity.ID) string {
	switch id {
	case quantity.Flow:
		return "The Reynolds number and the regime are unknown."
	case quantity.Temperature:
		return "Overheated water is not seen at the tube, and the Reynolds number is unknown."
	case quantity.Level:
		return "A lost head, and a tank that runs empty under heat, are not seen."
	case quantity.HeaterOutlet, quantity.Tank:
		return "Overheated water is not seen there."
	}
	return "What depends on it is unknown."
}
