package instrument

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq/channel"
)

// Probing is a conversation with one instrument, told to a person as text or to a
// program as JSON, one object a line. It only reads.
//
//	exchange → judged by the instrument's channel → other readings where it is not believable → told
type Probing struct {
	Config     *config.Config
	Instrument config.Instrument // of it
	Count      int               // of exchanges
	Search     time.Duration     // how long a silent one is looked for; 0: it is not
	JSON       bool
	Out        io.Writer // hears the exchanges, and what a search finds
	Say        io.Writer // hears what a search does
	Log        io.Writer // keeps what goes over the line; nil: nobody does

	port    config.Port
	open    Opener
	log     *lineLog // nil: none
	channel *channel.Channel

	number    int  // of the exchange
	answered  int  // exchanges in which anything understandable came
	clean     int  // exchanges with something to believe
	valued    int  // exchanges with a value that is not believable
	elsewhere bool // another reading is believable
}

// Run probes, and searches with the line free again. The error says that the line
// cannot be had, or that no exchange gave anything to believe.
func (p *Probing) Run(ctx context.Context) error {
	p.port, p.channel, p.open = *p.Config.Port(p.Instrument.Port), channel.New(p.Instrument), OpenSerial
	if p.Log != nil {
		p.log = newLineLog(p.Log, p.port, p.Instrument)
		p.open = p.log.Open(OpenSerial)
	}
	err := probe(ctx, p.port, p.Instrument, p.open, p.Count, func(asked *prober, x exchange) { p.take(ctx, asked, x) })
	if err == nil {
		if p.Search > 0 && p.answered == 0 {
			p.search(ctx)
		}
		err = p.verdict()
	}
	if p.log != nil {
		err = errors.Join(err, p.log.err)
	}
	if err != nil && p.Search == 0 && p.answered == 0 && p.number > 0 {
		return fmt.Errorf("%w; --search looks for it elsewhere", err)
	}
	return err
}

// take judges one exchange, looks around where it gave nothing to believe or a
// plain 0, which a register beside the right one gives as well, and tells it.
func (p *Probing) take(ctx context.Context, asked *prober, x exchange) {
	p.number++
	if answers(x) {
		p.answered++
	}
	p.judge(&x)
	believable := x.Error == nil && !x.doubtful
	if believable {
		p.clean++
	} else if x.Error == nil || x.data != nil {
		p.valued++
	}
	if zero := x.Value != nil && x.reading.Number == 0 && !p.Instrument.Boolean(); zero || !believable {
		x.Others = append(x.Others, asked.alternatives(ctx, x)...)
		p.elsewhere = p.elsewhere || slices.ContainsFunc(x.Others, func(o alternative) bool { return o.Believable })
	}
	if p.log != nil {
		p.log.Note(fmt.Sprintf("%d: %s", p.number, p.outcome(x)))
	}
	if p.JSON {
		p.encode(x)
		return
	}
	p.print(x)
}

// verdict is the error of a probe that gave nothing to believe.
func (p *Probing) verdict() error {
	switch {
	case p.clean > 0:
		return nil
	case p.valued > 0:
		return errors.New("probe: no value is believable; see what else the bytes can mean, and probe with water running")
	case p.elsewhere:
		return errors.New("probe: no exchange was clean, but another reading is believable: see the lines that begin with or")
	}
	return errors.New("probe: no exchange was clean")
}

// searched are the lines of the configuration that a search may open, that of the
// instrument first. A search opens a line many times, and each opening raises RTS
// and DTR: where one of them is the permit's, that is the train of pulses which
// permits heating. leftOut is "" or the port that is left out for it.
func (p *Probing) searched() (lines []config.Port, leftOut string) {
	if t := p.Config.Trip; t != nil && t.Pulse != config.NoPulse {
		leftOut = t.Port
	}
	for _, port := range p.Config.Ports {
		switch port.Name {
		case leftOut:
		case p.port.Name:
			lines = slices.Insert(lines, 0, port)
		default:
			lines = append(lines, port)
		}
	}
	return lines, leftOut
}

// search looks for a silent instrument, and says first what it will send.
func (p *Probing) search(ctx context.Context) {
	lines, leftOut := p.searched()
	if leftOut == p.port.Name {
		fmt.Fprintf(p.Say, "probe: no search on ports.%s: each opening pulses its RTS and DTR, which permits heating; unplug the permit's relay from it, and search with a copy of the file without [trip]\n", leftOut)
		return
	}
	if leftOut != "" {
		fmt.Fprintf(p.Say, "probe: ports.%s is left out: each opening pulses its RTS and DTR, which permits heating\n", leftOut)
	}
	fmt.Fprintf(p.Say, "probe: %s gives no answer that can be read; searching for up to %s, %s. It only reads, and writes nothing to any device.\n", p.Instrument.Name, span(p.Search), p.asks(len(lines) > 1))
	ctx, cancel := context.WithTimeout(ctx, p.Search)
	defer cancel()
	s := &search{in: p.Instrument, lines: lines, open: p.open, tell: p.tellFound, found: map[string]bool{}}
	switch left := s.run(ctx); {
	case left != "":
		fmt.Fprintf(p.Say, "probe: the time is over; not asked: %s; give it longer with --search-time %q\n", left, "30 min")
	case len(s.found) == 0:
		fmt.Fprintln(p.Say, "probe: nothing answers; check power, plugs, A and B, and that no other program talks on the line")
	}
}

func (p *Probing) asks(others bool) string {
	where := "at other rates and framings"
	if others {
		where = "on the other ports of the configuration, then " + where
	}
	switch in := p.Instrument; {
	case in.Modbus != nil:
		return fmt.Sprintf("with the request to read %s register %d, %s, then under the addresses 1 to 247", in.Modbus.Table, in.Modbus.Register, where)
	case in.Query != nil:
		return fmt.Sprintf("with the question %q, %s", in.Query.Send, where)
	}
	return "sending nothing and listening " + where
}
