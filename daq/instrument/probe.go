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
)

// Exchange is one exchange with an instrument, with its bytes.
type Exchange struct {
	Sent     []byte
	Received []byte      // all that came, echoes and strays as well
	Reading  daq.Reading // At is since the probe began
	Err      error       // nil when the exchange was clean
}

// Probe talks to one instrument count times at its own pace, and tells each
// exchange. The error is that of the line; one exchange that fails is told and
// ends nothing. A nil open is OpenSerial.
func Probe(ctx context.Context, port config.Port, in config.Instrument, open Opener, count int, tell func(Exchange)) error {
	if open == nil {
		open = OpenSerial
	}
	line, err := open(port)
	if err != nil {
		return fmt.Errorf("probe: %s: %w", port.Name, err)
	}
	stop := context.AfterFunc(ctx, func() { line.Close() })
	defer line.Close()
	defer stop()
	p := prober{wire: newWire(line, port), in: in, poll: plan([]config.Instrument{in})[0], began: time.Now()}
	for i := range count {
		if i > 0 && !p.pause(ctx, in.Every) {
			return ctx.Err()
		}
		x := p.once()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		tell(x)
		if f := (*fault)(nil); errors.As(x.Err, &f) && f.lost {
			return x.Err
		}
	}
	return nil
}

// prober is a probe at work.
type prober struct {
	*wire
	in    config.Instrument
	poll  *poll
	began time.Time
	rest  []byte // of a stream: what came behind the last line
	whole bool   // of a stream: a line's begin has been seen
}

// pause waits for the next due time, except for a stream, which sets its own.
func (p *prober) pause(ctx context.Context, d time.Duration) bool {
	if p.in.Stream != nil {
		return ctx.Err() == nil
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

func (p *prober) once() Exchange {
	started := time.Now()
	var r result
	if p.in.Stream != nil {
		r = p.listenOnce()
	} else {
		results, _ := p.poll.exchange(p.wire)
		r = results[0]
	}
	end := time.Now()
	if r.err == nil && p.heard.After(started) {
		end = p.heard // the silence behind the answer is not its time
	}
	return Exchange{
		Sent: slices.Clone(p.sent), Received: slices.Clone(p.received),
		Reading: reading(&p.in, r, end.Sub(started), end.Sub(p.began)), Err: r.err,
	}
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
		buf, err = p.more(buf, deadline)
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			p.rest, p.whole = nil, false // what ends this line later is no line of its own
			return result{err: faultf(daq.ReasonTimeout, "no whole line on %s within %s, %d bytes; check end, wiring, baud, and that the instrument is set to send by itself", place(p.port), span(2*p.in.Every+p.port.Timeout), len(buf))}
		case err != nil:
			p.rest, p.whole = nil, false
			return result{err: lineFault(p.port, err)}
		}
	}
}
