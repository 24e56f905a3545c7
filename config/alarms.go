package config

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"flowrigd/calc/quantity"
)

// loadAlarms puts the built-in alarms first, changed by their tables, then
// those of the file by name.
func (l *loader) loadAlarms() {
	s := l.optional("alarms")
	var own []Alarm
	var builtIns []string
	for _, b := range l.builtIns() {
		if b.present {
			b.BuiltIn = true
			l.config.Alarms, builtIns = append(l.config.Alarms, b.Alarm), append(builtIns, b.Name)
		}
	}
	for _, n := range s.node.children {
		t := s.table(n.key)
		if t == nil {
			continue
		}
		if i := slices.Index(builtIns, n.key); i >= 0 {
			t.changeBuiltIn(&l.config.Alarms[i])
			continue
		}
		if wrong, remedy := l.nameMistake(n.key); wrong != "" {
			l.report.add(n.at, s.path(n.key)+": "+wrong, remedy)
			continue
		}
		own = append(own, t.ownAlarm(n.key, builtIns))
	}
	slices.SortFunc(own, func(a, b Alarm) int { return cmp.Compare(a.Name, b.Name) })
	l.config.Alarms = append(l.config.Alarms, own...)
}

var alarmName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// nameMistake says why a name cannot be that of a new alarm.
func (l *loader) nameMistake(name string) (wrong, remedy string) {
	absent := builtIn{}
	if b := first(l.builtIns(), func(b builtIn) bool { return b.Name == name }); b != nil {
		absent = *b
	} else if instrument, fault := strings.CutPrefix(name, faultPrefix); fault {
		absent.lacks, absent.write = "there is no instrument "+cut(instrument), "[instruments."+cut(instrument)+"]"
	}
	switch {
	case absent.lacks != "":
		return absent.lacks + " in this file", "write " + absent.write + ", or leave the alarm out"
	case len(name) > 60:
		return "a name longer than 60 characters", "write a short one, and what it means in cause and action"
	case !alarmName.MatchString(name):
		return "not a name for an alarm", "write small letters, digits and hyphens between them"
	}
	return "", ""
}

// changeBuiltIn reads what the file says otherwise of a built-in alarm.
func (s *section) changeBuiltIn(a *Alarm) {
	s.changeLimit(a)
	s.alarmKeys(a)
	if n := s.node.child("on"); n != nil {
		s.take("on")
		s.refuse(n, s.path("on")+": a built-in alarm has its own", "leave on out, or give your alarm another name")
	}
	s.done()
}

// changeLimit reads what the file says otherwise of a built-in alarm's limit.
func (s *section) changeLimit(a *Alarm) {
	switch {
	case a.Kind == AlarmRate:
		if n := s.node.child("above"); n != nil {
			s.take("above")
			s.refuse(n, s.path("above")+": its limit is tube.max_rate", "write tube.max_rate, and leave above out")
		}
		a.Deadband = s.notNegative("deadband", a.Deadband, TemperatureRate)
	case a.Kind == AlarmImplausible:
		a.MaxFall = cmp.Or(s.positive("max_fall", TemperatureRate), a.MaxFall)
	case (a.Kind == AlarmLimit || a.Kind == AlarmNoSupply) && (a.Above != nil || a.Below != nil):
		d := DimensionOf(a.On[0])
		key, limit := a.limit()
		if v, n := s.setting(key, d); n != nil {
			*limit = v
		}
		a.Deadband = s.notNegative("deadband", a.Deadband, d.difference())
	}
}

// limit is the one that is set, with its key; nil for an alarm without one.
func (a *Alarm) limit() (key string, limit *float64) {
	if a.Above != nil {
		return "above", a.Above
	}
	return "below", a.Below
}

func (s *section) ownAlarm(name string, builtIns []string) Alarm {
	a := Alarm{Name: name, Kind: AlarmLimit, Priority: "low", OnDelay: limitDelay}
	id, ok := s.watched(nearest(name, builtIns))
	if !ok {
		s.known = append(s.known, "above", "below", "deadband")
		s.alarmKeys(&a)
		s.done()
		return a
	}
	a.On = []quantity.ID{id}
	d := DimensionOf(id)
	limit := s.ownLimit(&a, d)
	a.Deadband = s.notNegative("deadband", defaultDeadband(limit, d), d.difference())
	a.sentences(id, limit)
	s.alarmKeys(&a)
	s.done()
	return a
}

// ownLimit reads above or below; neither is set where the file is wrong.
func (s *section) ownLimit(a *Alarm, d Dimension) float64 {
	kind := s.exactlyOne("the limit", "above", "below")
	if kind == "" {
		return 0
	}
	limit, n := s.setting(kind, d)
	switch {
	case n == nil:
	case kind == "above":
		a.Above = &limit
	default:
		a.Below = &limit
	}
	return limit
}

// watched reads the quantity that an alarm of the file watches.
func (s *section) watched(meant string) (quantity.ID, bool) {
	text, n := s.text("on", "velocity")
	if s.node.child("on") == nil {
		remedy := `write the name of a quantity without its unit, such as on = "velocity"`
		if meant != "" {
			remedy = fmt.Sprintf("write [alarms.%s] if you mean the built-in one, or on = \"velocity\"", meant)
		}
		s.missing("on", remedy)
	}
	if n == nil {
		return 0, false
	}
	id, ok := quantity.ByShort(text)
	switch {
	case !ok:
		s.bad("on", n, quoted(text)+" is not a quantity", onRemedy(text))
	case quantity.Table[id].Kind != quantity.Number:
		s.bad("on", n, quoted(text)+" is not a number and has no limit", `write a quantity with a number, such as "velocity"`)
		ok = false
	}
	return id, ok
}

func onRemedy(text string) string {
	var shorts []string
	for _, row := range quantity.Table {
		if row.Name == text {
			return fmt.Sprintf("write %q, without the unit", row.Short)
		}
		if row.Kind == quantity.Number {
			shorts = append(shorts, row.Short)
		}
	}
	if best := nearest(text, shorts); best != "" {
		return fmt.Sprintf("write %q", best)
	}
	return `write a quantity without its unit, such as "velocity", "temperature" or "reynolds_number"`
}

// defaultDeadband is how far a value must come back before an alarm clears: 2 K, 5 mm or 2 % of the limit.
func defaultDeadband(limit float64, d Dimension) float64 {
	switch d {
	case Temperature:
		return 2
	case Length:
		return 5e-3
	}
	return 0.02 * math.Abs(limit)
}

func (s *section) alarmKeys(a *Alarm) {
	a.OnDelay = s.duration("on_delay", a.OnDelay, 0, day)
	a.OffDelay = s.duration("off_delay", a.OffDelay, 0, day)
	a.Latch = s.flag("latch", a.Latch)
	a.Trip = s.flag("trip", a.Trip)
	if s.node.child("priority") != nil {
		a.Priority = s.choice("priority", priorities...)
	}
	s.take("priority")
	s.sentence("cause", &a.Cause)
	s.sentence("consequence", &a.Consequence)
	s.sentence("action", &a.Action)
}

func (s *section) sentence(key string, to *string) {
	text, n := s.text(key, "Close the valve a little.")
	switch {
	case n == nil:
		return
	case strings.TrimSpace(text) == "" || len(text) > 500:
		s.bad(key, n, quoted(text)+" is not a sentence", "write one sentence of up to 500 bytes, or leave the key out")
		return
	}
	*to = text
}

// sentences are those of an alarm whose file has none.
func (a *Alarm) sentences(id quantity.ID, limit float64) {
	side := "above"
	if a.Below != nil {
		side = "below"
	}
	name, shown := spokenName(id), Format(limit, DimensionOf(id))
	a.Cause = fmt.Sprintf("The %s is %s its limit of %s.", name, side, shown)
	a.Consequence = fmt.Sprintf("The rig does not run as planned while the %s is %s %s.", name, side, shown)
	// What moves the value back may be cold water on a hot heater: no default says how.
	a.Action = fmt.Sprintf("Find out why the %s is %s its limit, and leave the water supply as it is until heater and tube have cooled.", name, side)
}
