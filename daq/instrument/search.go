package instrument

import (
	"context"
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

// search looks for an instrument that is silent where it was configured.
type search struct {
	in    config.Instrument
	lines []config.Port // its own first
	open  Opener
	tell  func(at config.Port, address byte, x exchange) // who answers, and where; the address of text is 0
	found map[string]bool                                // addresses at settings, told once
}

// run looks on the other lines, at other rates and framings, and under other
// addresses, in that order. It only reads, and ends with ctx at the latest. left
// says what it has not come to; "" when all was asked. A line that cannot be
// opened is passed over.
func (s *search) run(ctx context.Context) (left string) {
	own := s.lines[0]
	var addresses []byte
	if s.in.Modbus != nil {
		addresses = []byte{s.in.Modbus.Address}
	}
	s.at(ctx, own, addresses)
	for _, other := range s.lines[1:] {
		moved := own
		moved.Name, moved.Device = other.Name, other.Device
		if s.at(ctx, moved, addresses) || s.at(ctx, other, addresses) {
			return ""
		}
	}
	settings := s.settings(own)
	answering := slices.IndexFunc(settings, func(p config.Port) bool { return s.at(ctx, p, addresses) })
	switch {
	case s.in.Modbus == nil && ctx.Err() != nil:
		return "other rates and framings"
	case s.in.Modbus == nil:
		return ""
	case answering >= 0:
		settings = settings[answering : answering+1]
	default:
		settings = append([]config.Port{own}, settings...)
	}
	addresses = nil
	for a := 1; a <= lastAddress; a++ {
		addresses = append(addresses, byte(a))
	}
	for _, p := range settings {
		if s.at(ctx, p, addresses) {
			return "" // a line has one rate
		}
		if ctx.Err() != nil {
			return fmt.Sprintf("other addresses from %d Bd, %s on", p.Baud, p.Framing())
		}
	}
	return ""
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
	p, err := openProber(ctx, port, s.in, s.open)
	if err != nil {
		return false
	}
	defer p.close()
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
func (s *search) ask(ctx context.Context, p *prober, port config.Port, address byte) bool {
	x := p.once(ctx)
	if ctx.Err() != nil || !answers(x) {
		return false
	}
	key := fmt.Sprintf("%s %d %s %d", port.Device, port.Baud, port.Framing(), address)
	if !s.found[key] {
		s.found[key] = true
		s.tell(port, address, x)
	}
	return true
}

// answers says whether an exchange shows an instrument that understands: a
// number, a refusal, or a number that cannot be believed.
func answers(x exchange) bool {
	return x.err == nil || x.data != nil || failedFor(x.err, daq.ReasonException)
}
