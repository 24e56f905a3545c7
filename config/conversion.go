package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/calc/uncertainty"
)

const millivolt = 1e-3

// meaning reads what the number on the wire means: one of unit, scale and
// pulses, and beside it a thermocouple. Yes-or-no instruments have none.
func (s *section) meaning(in *Instrument) {
	if in.Boolean() {
		in.Unit = &Unit{Text: "1", Factor: 1}
		return
	}
	in.Thermocouple = below(s, "thermocouple", func(t *section) *Thermocouple { return t.thermocouple(in.ID) })
	switch s.exactlyOne("what its number means", "unit", "scale", "pulses") {
	case "unit":
		in.Unit = s.unit(in)
	case "scale":
		in.Scale = below(s, "scale", func(t *section) *Scale { return t.scale(in) })
	case "pulses":
		in.Pulses = below(s, "pulses", func(t *section) *Pulses { return t.pulses(in) })
	}
}

// wire is the dimension of the number on the wire.
func (in *Instrument) wire() Dimension {
	if in.Thermocouple != nil {
		return Voltage
	}
	return DimensionOf(in.ID)
}

func (s *section) unit(in *Instrument) *Unit {
	text, n := s.text("unit", byDimension[in.wire()].unit)
	if n == nil {
		return nil
	}
	if text == "1" && in.wire() == Percent {
		return &Unit{Text: text, Factor: 1} // a ratio as it is; behind a number 1 would hide whether percent were meant
	}
	u, err := UnitFor(strings.TrimSpace(text), in.wire())
	if err != nil {
		m := err.(*Mistake)
		wrong, remedy := m.Wrong, m.Remedy
		if _, volt := UnitFor(text, Voltage); volt == nil && DimensionOf(in.ID) == Temperature {
			remedy = "write thermocouple = {…} beside it, or a unit of temperature such as Cel"
		} else if in.Thermocouple != nil {
			wrong += ", and a thermocouple gives one"
		}
		s.bad("unit", n, wrong, remedy)
		return nil
	}
	if in.Thermocouple != nil {
		u.Factor /= millivolt
	}
	return &u
}

func (s *section) scale(in *Instrument) *Scale {
	d := in.wire()
	from := s.pair("from", "[4000, 20000]")
	to := s.pair("to", fmt.Sprintf("[%q, %q]", byDimension[d].example, byDimension[d].example))
	for _, key := range []string{"from", "to"} {
		s.require(key, `write scale = {from = [4000, 20000], to = ["0 mm", "400 mm"]}`)
	}
	if !s.ok {
		return nil
	}
	out := Scale{From: s.two("from", from, s.wireNumber), To: s.two("to", to, func(key string, n *node) (float64, bool) { return s.plainIn(key, n, d) })}
	if in.Thermocouple != nil {
		out.To[0] /= millivolt
		out.To[1] /= millivolt
	}
	return &out
}

func (s *section) two(key string, n []*node, read func(string, *node) (float64, bool)) (v [2]float64) {
	var ok [2]bool
	for i := range n {
		v[i], ok[i] = read(key, n[i])
	}
	if ok[0] && ok[1] && v[0] == v[1] {
		s.bad(key, n[1], "both points are the same", "write two different values")
	}
	return v
}

// wireNumber reads a number as the instrument sends it.
func (s *section) wireNumber(key string, n *node) (float64, bool) {
	v, ok := n.number()
	if !ok {
		s.bad(key, n, kindName(n)+" where a number belongs", "write the numbers on the wire, such as [4000, 20000]")
	}
	return v, ok
}

// plainIn reads a quantity without ± from an element of a list.
func (s *section) plainIn(key string, n *node, d Dimension) (float64, bool) {
	v, ok := s.parse(key, n, d)
	if ok && v.U != 0 {
		s.bad(key, n, quoted(n.text)+": this value has no uncertainty of its own", "leave ± and what follows out")
		ok = false
	}
	return v.X, ok
}

func (s *section) pulses(in *Instrument) *Pulses {
	if d := DimensionOf(in.ID); d != VolumeFlow {
		s.refuse(s.node, fmt.Sprintf("%s: pulses count volume, and %s is %s", s.name, in.Name, d), "write unit or scale instead")
	}
	s.require("per_litre", "write the meter's pulses per litre, such as per_litre = 1420")
	perLitre, n := s.number("per_litre")
	if n != nil && perLitre <= 0 {
		s.bad("per_litre", n, n.text+" is not above zero", "write the meter's pulses per litre, such as 1420")
	}
	bits := int64(32)
	if in.Modbus != nil {
		bits = int64(16 * in.Modbus.Type.Words())
	}
	p := &Pulses{PerCubicMeter: perLitre * 1000, Bits: int(s.integer("bits", bits, 1, 64))}
	p.Window = s.duration("window", max(2*time.Second, 2*in.Every), time.Millisecond, time.Hour)
	if p.Window < 2*in.Every {
		s.report.add(s.place("window"), fmt.Sprintf("%s: fewer than two readings fall into the window, they come every %s", s.path("window"), Format(in.Every.Seconds(), Time)), "write at least twice the time of every")
	}
	s.checkCounter(in, p)
	return p
}

// checkCounter holds the width of the counter against the type on the wire.
func (s *section) checkCounter(in *Instrument, p *Pulses) {
	whole := []NumberType{Uint16, Uint32, Uint64}
	switch {
	case in.Modbus == nil:
	case !slices.Contains(whole, in.Modbus.Type):
		s.report.add(s.node.at, s.name+": a counter is a whole number without sign", "write type uint16, uint32 or uint64")
	case p.Bits > 16*in.Modbus.Type.Words():
		s.report.add(s.place("bits"), fmt.Sprintf("%s: %d bits do not fit into %s", s.path("bits"), p.Bits, numberTypes[in.Modbus.Type]), "write the counter's own width, at which it wraps")
	}
}

var instrumentWord = regexp.MustCompile(`^[A-Za-z][A-Za-z_-]*$`)

func (s *section) thermocouple(id quantity.ID) *Thermocouple {
	if DimensionOf(id) != Temperature {
		s.refuse(s.node, fmt.Sprintf("%s: %s is not a temperature", s.name, id.Short()), "leave thermocouple out")
	}
	s.require("type", `write the letter on the connector, such as type = "K"`)
	t := &Thermocouple{Type: s.choice("type", "K", "T", "J", "N")}
	text, n := s.requiredText("cold_junction", "23 Cel ± 2 K", `write its temperature, such as cold_junction = "23 Cel ± 2 K", or the name of an instrument`)
	switch {
	case n == nil:
	case instrumentWord.MatchString(text):
		from, ok := quantity.ByShort(text)
		if !ok || !quantity.Table[from].Measured || DimensionOf(from) != Temperature || from == id {
			s.bad("cold_junction", n, quoted(text)+" is not another instrument that measures a temperature", `write the name of another one, or a temperature such as "23 Cel ± 2 K"`)
			break
		}
		t.From = from
	default:
		t.ColdJunction = s.junction(n)
	}
	return t
}

// junction reads a constant cold junction.
func (s *section) junction(n *node) *uncertainty.Value {
	v, ok := s.parse("cold_junction", n, Temperature)
	switch {
	case !ok:
		return nil
	case v.U == 0 || !strings.Contains(tidy(n.text), "±"):
		s.bad("cold_junction", n, quoted(n.text)+" has no uncertainty", fmt.Sprintf("write how far it may be off, such as %q", tidy(strings.Split(tidy(n.text), "±")[0])+" ± 2 K"))
	case v.X < -40 || v.X > 125:
		s.bad("cold_junction", n, quoted(n.text)+" is no temperature of a connector", "write one from -40 Cel to 125 Cel")
	}
	return &v
}
