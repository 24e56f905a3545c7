package instrument

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// exchange is one exchange with an instrument and what it was worth; as JSON a
// line of probe --json. Each stands by itself: a value that an earlier one gave is
// no value of this one.
type exchange struct {
	Sent     spoken        `json:"sent"`
	Received spoken        `json:"received"` // all that came, echoes and strays as well
	Number   *float64      `json:"number"`   // on the wire
	Value    *float64      `json:"value"`    // in the quantity's unit
	Unit     string        `json:"unit"`
	Quality  string        `json:"quality"`
	Seconds  float64       `json:"seconds"`
	Error    *string       `json:"error"`
	Note     *string       `json:"note"`   // why there is no value though nothing is wrong
	Others   []alternative `json:"others"` // what else it may mean; empty where the value needs none

	data     []byte      // of a Modbus answer: its registers or bits; nil without one
	reading  daq.Reading // At is since the probe began
	err      error       // nil when the exchange was clean
	doubtful bool        // there is a value, and it is not believable
}

// probe talks to one instrument count times at its own pace, and tells each
// exchange, with the prober for what there is to ask beside it. The error is
// that of the line; one exchange that fails is told and ends nothing.
func probe(ctx context.Context, port config.Port, in config.Instrument, open Opener, count int, tell func(*prober, exchange)) error {
	p, err := openProber(ctx, port, in, open)
	if err != nil {
		return err
	}
	defer p.close()
	for i := range count {
		if i > 0 && !p.pause(ctx) {
			return ctx.Err()
		}
		x := p.once(ctx)
		if ctx.Err() == nil {
			tell(p, x)
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case lineLost(x.err):
			return x.err
		}
	}
	return nil
}

// prober is a probe at work.
type prober struct {
	*wire
	in    config.Instrument
	close func()
	began time.Time
	rest  []byte // of a stream: what came behind the last line
	whole bool   // of a stream: a line's begin has been seen
}

// openProber opens the line of an instrument, until close or until ctx ends.
func openProber(ctx context.Context, port config.Port, in config.Instrument, open Opener) (*prober, error) {
	line, err := open(port)
	if err != nil {
		return nil, fmt.Errorf("probe: %s: %w", port.Name, err)
	}
	stop := context.AfterFunc(ctx, func() { line.Close() })
	return &prober{wire: newWire(line, port), in: in, began: time.Now(), close: func() { stop(); line.Close() }}, nil
}

// pause waits for the next due time, except for a stream, which sets its own.
func (p *prober) pause(ctx context.Context) bool {
	if p.in.Stream == nil {
		wait(ctx, p.in.Every)
	}
	return ctx.Err() == nil
}

func (p *prober) once(ctx context.Context) exchange {
	started := time.Now()
	var r result
	var data []byte
	switch {
	case p.in.Stream != nil:
		r = p.listenOnce()
	case p.in.Modbus != nil:
		data, r = p.read(ctx, p.in.Modbus)
	default:
		number, err := p.ask(&p.in)
		r = result{number, whole(number), err}
	}
	end := time.Now()
	if r.err == nil && p.lastByteAt.After(started) {
		end = p.lastByteAt // the silence behind the answer is not its time
	}
	return exchange{
		Sent: slices.Clone(p.sent), Received: slices.Clone(p.received), data: data,
		reading: reading(&p.in, r, end.Sub(started), end.Sub(p.began)), err: r.err,
	}
}

// read asks for a number; its data are there though they may make no number.
func (p *prober) read(ctx context.Context, m *config.Modbus) (data []byte, r result) {
	data, r.err = p.exchange(ctx, modbus.ReadRequest(m.Address, function[m.Table], m.Register, uint16(m.Width())))
	if r.err == nil {
		data = slices.Clone(data)
		r.number, r.count, r.err = decode(m, data, m.Register)
	}
	return data, r
}

// listenOnce takes the next whole line of a stream.
func (p *prober) listenOnce() result {
	s := p.in.Stream
	p.received = append(p.received[:0], p.rest...)
	buf, err := p.rest, error(nil)
	deadline := time.Now().Add(2*p.in.Every + p.port.Timeout)
	for {
		if line, rest, found := bytes.Cut(buf, s.End); found {
			line, p.rest = slices.Clone(line), slices.Clone(rest)
			if !p.whole { // the first line was not heard from its begin
				p.whole, buf = true, p.rest
				continue
			}
			p.received = append(slices.Clone(line), s.End...)
			number, err := readLine(p.port, s.Line, p.in.Checksum, line)
			return result{number, whole(number), err}
		}
		buf, err = p.readUntil(buf, deadline)
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			p.rest, p.whole = nil, false // what ends this line later is no line of its own
			return result{err: faultf(daq.ReasonTimeout, "no whole line on %s within %s, %d bytes; check end, wiring, baud, and that the instrument is set to send unprompted", place(p.port), span(2*p.in.Every+p.port.Timeout), len(buf))}
		case err != nil:
			p.rest, p.whole = nil, false
			return result{err: lineFault(p.port, err)}
		}
	}
}
