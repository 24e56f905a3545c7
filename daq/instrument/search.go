package instrument

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// searchTimeout bounds the wait for one answer of a search: 247 addresses are
// asked, and most are silent.
const searchTimeout = 200 * time.Millisecond

// lastAddress is the last one a slave can have (MODBUS over serial line V1.02,
// 2.2).
const lastAddress = 247

// The rates and framings that instruments are sold with, the commonest first
// (common practice, no source).
var (
	searchBauds    = []int{9600, 19200, 38400, 57600, 115200, 4800, 2400, 1200}
	modbusFramings = []config.Port{framing(8, config.EvenParity, 1), framing(8, config.NoParity, 1), framing(8, config.NoParity, 2), framing(8, config.OddParity, 1)}
	textFramings   = []config.Port{framing(8, config.NoParity, 1), framing(7, config.EvenParity, 1), framing(8, config.EvenParity, 1), framing(7, config.OddParity, 1)}
)

func framing(data int, parity config.Parity, stop int) config.Port {
	return config.Port{DataBits: data, Parity: parity, StopBits: stop}
}

// Answer is what a search has found: who answers, and where.
type Answer struct {
	Port    config.Port // with the device, rate and framing at which it answers
	Address byte        // of a Modbus slave; 0 for text
	Exchange
}

// search looks for an instrument that is silent where it was configured.
type search struct {
	in    config.Instrument
	lines []config.Port // its own first
	open  Opener
	tell  func(Answer)
	found map[string]bool // addresses at settings, told once
}

// Search looks for an instrument that does not answer: on the other lines, at
// other rates and framings, and under other addresses, in that order. lines are
// those of the configuration, the instrument's own first. It only reads, and
// ends with ctx at the latest. left says what it has not come to; "" when all was
// asked. A line that cannot be opened is passed over.
func Search(ctx context.Context, lines []config.Port, in config.Instrument, open Opener, tell func(Answer)) (left string) {
	if open == nil {
		open = OpenSerial
	}
	s := &search{in: in, lines: lines, open: open, tell: tell, found: map[string]bool{}}
	own := lines[0]
	var addresses []byte
	if in.Modbus != nil {
		addresses = []byte{in.Modbus.Address}
	}
	s.at(ctx, own, addresses)
	for _, other := range lines[1:] {
		moved := own
		moved.Name, moved.Device = other.Name, other.Device
		if s.at(ctx, moved, addresses) || s.at(ctx, other, addresses) {
			return ""
		}
	}
	settings := s.settings(own)
	answering := slices.IndexFunc(settings, func(p config.Port) bool { return s.at(ctx, p, addresses) })
	if in.Modbus == nil {
		return unfinished(ctx, "other rates and framings")
	}
	if answering >= 0 {
		settings = settings[answering : answering+1]
	} else {
		settings = append([]config.Port{own}, settings...)
	}
	for _, p := range settings {
		if s.at(ctx, p, everyAddress()) {
			return "" // a line has one rate
		}
		if ctx.Err() != nil {
			return unfinished(ctx, fmt.Sprintf("other addresses from %d Bd, %s on", p.Baud, p.Framing()))
		}
	}
	return ""
}

func unfinished(ctx context.Context, what string) string {
	if ctx.Err() != nil {
		return what
	}
	return ""
}

func everyAddress() (list []byte) {
	for a := 1; a <= lastAddress; a++ {
		list = append(list, byte(a))
	}
	return list
}

// settings are the other rates and framings of a line.
func (s *search) settings(own config.Port) (list []config.Port) {
	framings := textFramings
	if s.in.Modbus != nil {
		framings = modbusFramings
	}
	for _, f := range append([]config.Port{own}, framings...) {
		for _, baud := range append([]int{own.Baud}, searchBauds...) {
			p := own
			p.Baud, p.DataBits, p.Parity, p.StopBits = baud, f.DataBits, f.Parity, f.StopBits
			if p != own && !slices.Contains(list, p) {
				list = append(list, p)
			}
		}
	}
	return list
}

// at asks the addresses of one line at one setting, or the question of a text
// instrument, and says whether anybody answered.
func (s *search) at(ctx context.Context, port config.Port, addresses []byte) (answered bool) {
	if ctx.Err() != nil {
		return false
	}
	port.Timeout = min(port.Timeout, searchTimeout)
	p, err := openProber(port, s.in, s.open)
	if err != nil {
		return false
	}
	stop := context.AfterFunc(ctx, func() { p.line.Close() })
	defer p.line.Close()
	defer stop()
	if s.in.Modbus == nil {
		return s.ask(ctx, p, port, 0)
	}
	for _, address := range addresses {
		m := *s.in.Modbus
		m.Address, p.in.Modbus = address, &m
		answered = s.ask(ctx, p, port, address) || answered
		if ctx.Err() != nil {
			break
		}
	}
	return answered
}

// ask makes one exchange and tells it where somebody answered it.
func (s *search) ask(ctx context.Context, p *Prober, port config.Port, address byte) bool {
	x := p.once(ctx)
	if ctx.Err() != nil || !Answers(x) {
		return false
	}
	key := fmt.Sprintf("%s %d %s %d", port.Device, port.Baud, port.Framing(), address)
	if !s.found[key] {
		s.found[key] = true
		s.tell(Answer{Port: port, Address: address, Exchange: x})
	}
	return true
}

// Answers says whether an exchange shows an instrument that understands: a
// number, a refusal, or a number that cannot be believed.
func Answers(x Exchange) bool {
	var f *fault
	if x.Err == nil || x.Data != nil {
		return true
	}
	return errors.As(x.Err, &f) && f.reason == daq.ReasonException
}
