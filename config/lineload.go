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

// silence is the time between frames: 3.5 characters of 11 bits, 1.75 ms above
// 19200 Bd ("MODBUS over serial line" V1.02, 2.5.1.1).
func (p *Port) silence() float64 {
	if p.Baud > 19200 {
		return 1.75e-3
	}
	return 3.5 * float64(p.BitsPerCharacter()) / float64(p.Baud)
}

// seconds is the least time a poll takes: the slave's own time is not known.
func (q poll) seconds(p *Port) float64 {
	return float64(q.characters*p.BitsPerCharacter())/float64(p.Baud) + float64(q.silences)*p.silence()
}

// arithmetic writes how seconds comes about.
func (q poll) arithmetic(p *Port) string {
	text := fmt.Sprintf("%s: %d characters × %d bits ÷ %d Bd", q.name, q.characters, p.BitsPerCharacter(), p.Baud)
	if q.silences > 0 {
		text += fmt.Sprintf(" + %d × %s silence", q.silences, Format(p.silence(), Time))
	}
	return text + fmt.Sprintf(" = %s every %s", Format(q.seconds(p), Time), Format(q.every.Seconds(), Time))
}

// polls are the exchanges on a line; neighbouring registers of one slave that
// are asked for at one pace are read together.
func (c *Config) polls(port string) (polls []poll) {
	var modbus []*Instrument
	for i := range c.Instruments {
		in := &c.Instruments[i]
		switch {
		case in.Port != port:
		case in.Modbus != nil:
			modbus = append(modbus, in)
		case in.Query != nil:
			polls = append(polls, in.queryPoll())
		}
	}
	slices.SortFunc(modbus, func(a, b *Instrument) int {
		return cmp.Or(cmp.Compare(a.Modbus.Address, b.Modbus.Address), cmp.Compare(a.Modbus.Table, b.Modbus.Table), cmp.Compare(a.Every, b.Every), cmp.Compare(a.Modbus.Register, b.Modbus.Register))
	})
	if t := c.Trip; t != nil && t.Port == port && t.Address > 0 {
		polls = append(polls, t.poll())
	}
	for i, in := range modbus {
		if i > 0 && modbus[i-1].neighbours(in) {
			last := &polls[len(polls)-1]
			last.name += "+" + in.Name
			last.characters += 2 * in.Modbus.Type.Words()
			last.back += 2 * in.Modbus.Type.Words()
			continue
		}
		polls = append(polls, in.modbusPoll())
	}
	return polls
}

// neighbours reports that next stands right behind in, and has its pace.
func (in *Instrument) neighbours(next *Instrument) bool {
	a, b := in.Modbus, next.Modbus
	return in.Every == next.Every && a.Address == b.Address && a.Table == b.Table && int(a.Register)+a.Type.Words() == int(b.Register)
}

// modbusPoll counts a request of 8 characters and an answer of 5 and the data
// (Application Protocol V1.1b3, 6.1 to 6.4).
func (in *Instrument) modbusPoll() poll {
	data := 2 * in.Modbus.Type.Words()
	if in.Modbus.Type == Bit {
		data = 1
	}
	return poll{name: in.Name, characters: 8 + 5 + data, back: 5 + data, silences: 2, every: in.Every}
}

// poll counts a written coil: 8 characters there and 8 back (Application
// Protocol V1.1b3, 6.5).
func (t *Trip) poll() poll {
	return poll{name: "trip", characters: 8 + 8, back: 8, silences: 2, every: t.Refresh}
}

// queryPoll counts what is sent and a line with a number of one digit: the
// least that can come back.
func (in *Instrument) queryPoll() poll {
	q := in.Query
	back := len(q.Reply.before) + 1 + len(q.Reply.after) + len(q.End)
	return poll{name: in.Name, characters: len(q.Send) + back, back: back, every: in.Every}
}
