package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
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
		s.quality(&in, l.now)
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

// quality reads what is known of an instrument's quality: range, accuracy,
// calibration and the largest step to believe.
func (s *section) quality(in *Instrument, now time.Time) {
	d := DimensionOf(in.ID)
	in.Range = s.rangeOf(d)
	in.Correct = s.correct(d)
	in.MaxStep = s.positive("max_step", d.difference())
	in.Accuracy = below(s, "accuracy", func(t *section) *Accuracy { return t.accuracy(s.node.child("range") != nil, d) })
	in.Calibration = below(s, "calibration", func(t *section) *Calibration { return t.calibration(d, now) })
	if a, c := s.node.child("accuracy"), s.node.child("calibration"); a != nil && c != nil {
		s.refuse(c, s.path("calibration")+": accuracy and calibration stand together", "write the certificate alone; its uncertainty takes the place of the maker's limits")
	}
	in.HydrostaticAt = s.hydrostatic(in)
	if in.ID == quantity.Flow {
		in.MeterFall = s.meterFall("meter_fall")
	}
}

// meterFall reads by how much the water in the flow meter is cooler than at the
// tube's outlet.
func (s *section) meterFall(key string) uncertainty.Value {
	const most = 60 // K
	v, n := s.measured(key, TemperatureDifference)
	if n != nil && max(v.X, -v.X)+HalfWidth(v) > most {
		s.bad(key, n, quoted(n.text)+" is out of range", fmt.Sprintf("write by how much the water in the meter is cooler, up to %d K", most))
		return uncertainty.Value{}
	}
	return v
}

func (s *section) rangeOf(d Dimension) *Range {
	n := s.pair("range", fmt.Sprintf("[%q, %q]", byDimension[d].example, byDimension[d].example))
	if n == nil {
		return nil
	}
	low, lowOK := s.plainIn("range", n[0], d)
	high, highOK := s.plainIn("range", n[1], d)
	switch {
	case !lowOK || !highOK:
		return nil
	case low >= high:
		s.bad("range", n[1], fmt.Sprintf("%s is not above %s", quoted(n[1].text), quoted(n[0].text)), "write the lower end first")
		return nil
	}
	return &Range{low, high}
}

// correct reads a calibration: indicated and true, both rising.
func (s *section) correct(d Dimension) (points []CorrectPoint) {
	const remedy = `write at least two points, indicated and true, such as [["0 mm", "1.2 mm"], ["400 mm", "399.1 mm"]]`
	n := s.take("correct")
	switch {
	case n == nil:
		return nil
	case n.kind != unstable.Array || len(n.children) < 2:
		s.bad("correct", n, "a calibration of fewer than two points", remedy)
		return nil
	}
	for _, c := range n.children {
		if c.kind != unstable.Array || len(c.children) != 2 {
			s.bad("correct", c, "a point that is not two values", remedy)
			return nil
		}
		indicated, ok1 := s.plainIn("correct", c.children[0], d)
		truth, ok2 := s.parse("correct", c.children[1], d)
		if !ok1 || !ok2 {
			return nil
		}
		p := CorrectPoint{indicated, truth.X, truth.U}
		if len(points) > 0 && (p.Indicated <= points[len(points)-1].Indicated || p.True <= points[len(points)-1].True) {
			s.bad("correct", c, "the point does not lie above the one before it", "write the points in rising order, indicated and true")
			return nil
		}
		points = append(points, p)
	}
	return points
}

func (s *section) accuracy(ranged bool, d Dimension) *Accuracy {
	a := &Accuracy{
		OfReading: s.within("of_reading", Percent, 0, 0, 1),
		OfSpan:    s.within("of_span", Percent, 0, 0, 1),
		Fixed:     s.notNegative("fixed", 0, d.difference()),
	}
	if len(s.node.children) == 0 {
		s.refuse(s.node, s.name+": no figure", "write of_reading, of_span or fixed")
	}
	if span := s.node.child("of_span"); span != nil && !ranged {
		s.bad("of_span", span, "the span is not known", "write range beside accuracy")
	}
	return a
}
