package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// poll is one exchange on a line.
type poll struct {
	name       string
	characters int // both ways
	back       int // of the answer alone
	silences   int // of 3.5 characters
	every      time.Duration
}

// adviseLines warns of polls faster than their line can carry.
func (l *loader) adviseLines() {
	for i := range l.config.Ports {
		p := &l.config.Ports[i]
		polls := l.config.polls(p.Name)
		var share float64
		var parts []string
		for _, q := range polls {
			share += q.seconds(p) / q.every.Seconds()
			parts = append(parts, q.arithmetic(p))
			l.adviseTimeout(p, q)
		}
		if share <= 1 || len(polls) == 0 {
			continue
		}
		l.report.warn(l.at("ports", p.Name), fmt.Sprintf("ports.%s: the polls take %.0f %% of the line's time (%s)", p.Name, 100*share, strings.Join(parts, ", ")), "raise every or baud, or share the instruments among more ports")
	}
}

// adviseTimeout warns of an answer that cannot be whole within the timeout.
func (l *loader) adviseTimeout(p *Port, q poll) {
	answer := float64(q.back*p.BitsPerCharacter()) / float64(p.Baud)
	if answer <= p.Timeout.Seconds() {
		return
	}
	l.report.warn(l.at("ports", p.Name), fmt.Sprintf("ports.%s.timeout: the answer of %s alone takes %s (%d characters × %d bits ÷ %d Bd), longer than the timeout of %s", p.Name, q.name, Format(answer, Time), q.back, p.BitsPerCharacter(), p.Baud, Format(p.Timeout.Seconds(), Time)), "raise timeout or baud")
}

// seconds is the least time a poll takes: the slave's own time is not known.
func (q poll) seconds(p *Port) float64 {
	return float64(q.characters*p.BitsPerCharacter())/float64(p.Baud) + float64(q.silences)*p.Silence().Seconds()
}

// arithmetic writes how seconds comes about.
func (q poll) arithmetic(p *Port) string {
	text := fmt.Sprintf("%s: %d characters × %d bits ÷ %d Bd", q.name, q.characters, p.BitsPerCharacter(), p.Baud)
	if q.silences > 0 {
		text += fmt.Sprintf(" + %d × %s silence", q.silences, Format(p.Silence().Seconds(), Time))
	}
	return text + fmt.Sprintf(" = %s every %s", Format(q.seconds(p), Time), Format(q.every.Seconds(), Time))
}

func (c *Config) polls(port string) (polls []poll) {
	var here []Instrument
	for _, in := range c.Instruments {
		if in.Port == port {
			here = append(here, in)
		}
	}
	for _, members := range Polls(here) {
		if members[0].Query != nil {
			// What is sent and a line with a number of one digit: the least that can come back.
			in, q := members[0], members[0].Query
			back := len(q.Reply.before) + 1 + len(q.Reply.after) + len(q.End)
			polls = append(polls, poll{name: in.Name, characters: len(q.Send) + back, back: back, every: in.Every})
			continue
		}
		polls = append(polls, modbusPoll(members))
	}
	if t := c.Trip; t != nil && t.Port == port && t.Address > 0 {
		// A written coil: 8 characters there and 8 back (Application Protocol V1.1b3, 6.5).
		polls = append(polls, poll{name: "trip", characters: 8 + 8, back: 8, silences: 2, every: t.Refresh})
	}
	return polls
}

// modbusPoll counts a request of 8 characters and an answer of 5 and the data
// (Application Protocol V1.1b3, 6.1 to 6.4).
func modbusPoll(members []Instrument) poll {
	q := poll{silences: 2, every: members[0].Every}
	places := 0
	var names []string
	for _, in := range members {
		names = append(names, in.Name)
		places += in.Modbus.Width()
	}
	data := 2 * places
	if members[0].Modbus.Table.Bits() {
		data = (places + 7) / 8
	}
	q.name, q.characters, q.back = strings.Join(names, "+"), 8+5+data, 5+data
	return q
}

// The most that one answer holds ("MODBUS Application Protocol" V1.1b3, 6.1 to 6.4).
const (
	mostBits      = 2000
	mostRegisters = 125
)

// Polls groups instruments into the fewest exchanges that read them all: neighbouring
// registers of one address and table, read at one pace, share one. Text questions keep
// their order, before the registers; what is not asked has none.
func Polls(instruments []Instrument) [][]Instrument {
	var polls [][]Instrument
	for _, in := range byRegister(instruments) {
		if last := len(polls) - 1; last >= 0 && joins(polls[last], in) {
			polls[last] = append(polls[last], in)
			continue
		}
		polls = append(polls, []Instrument{in})
	}
	return polls
}

func byRegister(instruments []Instrument) []Instrument {
	asked := func(in Instrument) bool { return in.Modbus == nil && in.Query == nil }
	list := slices.DeleteFunc(slices.Clone(instruments), asked)
	slices.SortStableFunc(list, func(a, b Instrument) int {
		switch {
		case a.Modbus == nil && b.Modbus == nil:
			return 0
		case a.Modbus == nil:
			return -1
		case b.Modbus == nil:
			return 1
		}
		return cmp.Or(cmp.Compare(a.Modbus.Address, b.Modbus.Address), cmp.Compare(a.Modbus.Table, b.Modbus.Table),
			cmp.Compare(a.Every, b.Every), cmp.Compare(a.Modbus.Register, b.Modbus.Register))
	})
	return list
}

// joins says whether an instrument's registers begin where those of a poll end, and
// still fit into one answer.
func joins(poll []Instrument, in Instrument) bool {
	first, last, m := poll[0].Modbus, poll[len(poll)-1].Modbus, in.Modbus
	if first == nil || m == nil || poll[0].Every != in.Every || first.Address != m.Address || first.Table != m.Table {
		return false
	}
	most := mostRegisters
	if m.Table.Bits() {
		most = mostBits
	}
	return int(m.Register) == int(last.Register)+last.Width() && int(m.Register)+m.Width()-int(first.Register) <= most
}

// Width is how many places of its table a number takes: registers, or one bit.
func (m *Modbus) Width() int {
	if m.Table.Bits() {
		return 1
	}
	return m.Type.Words()
}
