package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
)

// dimensionOf is the dimension of each unit in the table of quantities.
var dimensionOf = map[string]Dimension{
	"cubic_meters_per_second": VolumeFlow, "celsius": Temperature, "meters": Length, "pascals": Pressure,
	"kg_per_cubic_meter": Density, "pascal_seconds": DynamicViscosity, "square_meters_per_second": KinematicViscosity,
	"meters_per_second": Velocity, "kelvin_per_second": TemperatureRate,
	"kelvin": TemperatureDifference, "ratio": Percent,
}

// DimensionOf is the dimension of a quantity's row.
func DimensionOf(id quantity.ID) Dimension {
	if id == quantity.SecondsToOverheat || id == quantity.SettlingSeconds {
		return Time
	}
	return dimensionOf[quantity.Table[id].Unit]
}

// loadInstruments reads every instrument, by the names of the quantities.
func (l *loader) loadInstruments() {
	s := l.required("instruments", "write [instruments.flow], [instruments.temperature] and [instruments.level]")
	if s == nil {
		return
	}
	for id := range quantity.Count {
		row := &quantity.Table[id]
		if !row.Measured {
			continue
		}
		if t := s.table(row.Short); t != nil {
			l.config.Instruments = append(l.config.Instruments, l.loadInstrument(t, id))
		} else if row.Required && s.node.child(row.Short) == nil {
			l.report.add(s.node.at, fmt.Sprintf("the table [instruments.%s] is missing", row.Short), fmt.Sprintf("write [instruments.%s] with its port, its conversation and its unit", row.Short))
		}
	}
	s.done()
}

func (l *loader) loadInstrument(s *section, id quantity.ID) Instrument {
	in := Instrument{ID: id, Name: id.Short(), Port: l.portOf(s)}
	in.Every = s.duration("every", l.config.Interval, 10*time.Millisecond, time.Hour)
	in.StaleAfter = s.duration("stale_after", max(2*time.Second, 3*in.Every), time.Millisecond, day)
	in.FrozenAfter = s.duration("frozen_after", 0, time.Millisecond, longestTime)
	in.Lag = s.duration("lag", 0, 0, time.Hour)
	in.Checksum = chosen[Checksum](s, "checksum", checksumWords)
	s.conversation(&in)
	s.meaning(&in)
	if quantity.Table[id].Kind == quantity.Number {
		s.quality(&in)
	}
	s.done()
	s.checkTimes(&in)
	return in
}

// checkTimes holds the times of an instrument against one another.
func (s *section) checkTimes(in *Instrument) {
	every := Format(in.Every.Seconds(), Time)
	if in.StaleAfter <= in.Every {
		s.report.add(s.place("stale_after"), fmt.Sprintf("%s: a reading is stale before the next one comes, every %s", s.path("stale_after"), every), "write at least twice the time of every")
	}
	switch still := in.Pulses != nil || quantity.Table[in.ID].Kind == quantity.Boolean; {
	case in.FrozenAfter > 0 && still:
		s.report.add(s.place("frozen_after"), s.path("frozen_after")+": counters and switches may stay unchanged", "leave it out")
	case in.FrozenAfter > 0 && in.FrozenAfter <= in.Every:
		s.report.add(s.place("frozen_after"), fmt.Sprintf("%s: no reading can change in so short a time, they come every %s", s.path("frozen_after"), every), "write many times the time of every")
	}
}

func (l *loader) portOf(s *section) string {
	name, n := s.requiredText("port", "bus", l.portRemedy(""))
	if n != nil && l.root.node.child("ports").child(name) == nil {
		s.bad("port", n, quoted(name)+" is not a port of this file", l.portRemedy(name))
	}
	return name
}

func (l *loader) portRemedy(name string) string {
	var names []string
	for _, p := range l.config.Ports {
		names = append(names, p.Name)
	}
	for _, p := range l.config.Ports {
		if name != "" && l.file(name) == p.Device {
			return fmt.Sprintf("write %q, the name of the port with that device", p.Name)
		}
	}
	if best := nearest(name, names); best != "" && name != "" {
		return fmt.Sprintf("write %q", best)
	}
	switch {
	case len(names) == 0:
		return fmt.Sprintf("define [ports.%s]", cmp.Or(portName.FindString(name), "bus"))
	case name == "" || !portName.MatchString(name):
		return "write port = " + oneOf(quoteAll(names))
	}
	return fmt.Sprintf("write %s, or define [ports.%s]", oneOf(quoteAll(names)), name)
}

// exactlyOne reports when none or several of the keys are written.
func (s *section) exactlyOne(what string, keys ...string) string {
	found := slices.DeleteFunc(slices.Clone(keys), func(key string) bool { return s.take(key) == nil })
	switch len(found) {
	case 0:
		s.refuse(s.node, fmt.Sprintf("%s: %s is missing", s.name, what), "write "+oneOf(keys))
		return ""
	case 1:
		return found[0]
	}
	s.refuse(s.node.child(found[1]), fmt.Sprintf("%s: %s stand together", s.name, strings.Join(found, " and ")), "write only one of them")
	return found[0]
}

// Boolean reports an instrument that says yes or no: any number but 0 is yes.
func (in *Instrument) Boolean() bool {
	return quantity.Table[in.ID].Kind == quantity.Boolean
}
