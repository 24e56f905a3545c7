package instrument

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"

	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// rtu is one request of a Modbus RTU master on a wire.
type rtu struct {
	*wire
	request []byte
	asked   modbus.Request
	skipped bool // the request's own echo has come and is dropped
	stray   byte // an address that answered though it was not asked; 0: none
}

// exchange sends a request, unless ctx has ended before the line is silent, and
// reads until its answer is whole, or the time is over; it gives the data. Frames of
// other addresses leave the time running (specification of the serial line, 2.4.1).
// Errors are *fault, or that of ctx.
func (w *wire) exchange(ctx context.Context, request []byte) ([]byte, error) {
	asked, err := modbus.ParseRequest(request)
	if err != nil {
		return nil, fmt.Errorf("modbus: request: %w", err)
	}
	x := &rtu{wire: w, request: request, asked: asked}
	deadline, err := w.sendRequest(ctx, request)
	switch {
	case err != nil && ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, lineFault(w.port, err)
	}
	for buf := []byte(nil); ; {
		rest, frame, err := x.take(buf)
		if err != nil {
			return nil, x.refuse(frameFault(x.who(), err))
		}
		if frame != nil {
			return x.accept(frame, rest)
		}
		buf, err = x.readUntil(rest, deadline)
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			return nil, x.refuse(x.silent(buf))
		case err != nil:
			return nil, x.refuse(lineFault(x.port, err))
		}
	}
}

func (x *rtu) who() string {
	return fmt.Sprintf("address %d on %s", x.asked.Address, place(x.port))
}

// take looks at the front of what came: it drops the request's echo and whole
// frames of other addresses, and gives the frame that is from our address when
// it is whole. Both results are empty while more has to come.
func (x *rtu) take(buf []byte) (rest, frame []byte, err error) {
	for {
		if x.isEcho(buf) {
			x.echo, x.skipped, buf = echoPresent, true, buf[len(x.request):]
			continue
		}
		n := modbus.ResponseSize(buf)
		switch {
		case len(buf) < 3 || n > len(buf) || x.beginsEcho(buf):
			return buf, nil, nil
		case n == 0 || modbus.CRC(buf[:n]) != 0:
			return nil, nil, modbus.ErrChecksum
		case buf[0] == x.asked.Address:
			return buf[n:], buf[:n], nil
		}
		x.stray, buf = buf[0], buf[n:]
	}
}

// isEcho says whether our own request stands at the front. The answer to a
// write repeats the request: there only a line that is known to echo does.
func (x *rtu) isEcho(buf []byte) bool {
	if x.skipped || !bytes.HasPrefix(buf, x.request) {
		return false
	}
	if x.asked.Function == modbus.WriteSingleCoil {
		return x.echo == echoPresent
	}
	return !x.isAnswer(buf)
}

// beginsEcho says whether what came may become our own request yet.
func (x *rtu) beginsEcho(buf []byte) bool {
	return !x.skipped && len(buf) < len(x.request) && bytes.HasPrefix(x.request, buf) && !x.isAnswer(buf)
}

// isAnswer says whether a whole answer stands at the front.
func (x *rtu) isAnswer(buf []byte) bool {
	n := modbus.ResponseSize(buf)
	if n == 0 || n > len(buf) {
		return false
	}
	_, err := modbus.ParseResponse(x.request, buf[:n])
	return err == nil
}

// accept takes a whole frame when silence follows it: 3.5 characters of it end
// a frame (specification of the serial line, 2.5.1.1), and bytes before that
// make it longer than it says.
func (x *rtu) accept(frame, rest []byte) ([]byte, error) {
	if !x.skipped && x.asked.Function != modbus.WriteSingleCoil {
		x.echo = echoAbsent
	}
	data, err := modbus.ParseResponse(x.request, frame)
	disturbed := len(rest) > 0
	if !disturbed {
		var lost error
		if disturbed, lost = x.listen(x.silence); lost != nil {
			return nil, lineFault(x.port, lost)
		}
	}
	switch {
	case disturbed:
		return nil, x.refuse(faultf(daq.ReasonProtocol, "%s: bytes stand right behind the answer; check termination and bias, and for a second master", x.who()))
	case err != nil:
		return nil, frameFault(x.who(), err)
	}
	return data, nil
}

// silent is the sentence for an answer that did not come within the timeout.
func (x *rtu) silent(buf []byte) *fault {
	switch {
	case len(buf) > 0:
		return faultf(daq.ReasonTimeout, "half an answer from %s within %s: % X; check wiring, termination, baud and timeout", x.who(), span(x.port.Timeout), buf)
	case x.stray != 0:
		return faultf(daq.ReasonProtocol, "address %d answers where address %d was asked on %s; check the addresses, and whether the timeout is too short for it", x.stray, x.asked.Address, place(x.port))
	case x.skipped:
		return faultf(daq.ReasonTimeout, "no answer from %s within %s, only the adapter's echo; check wiring A/B, address, baud and timeout", x.who(), span(x.port.Timeout))
	}
	return faultf(daq.ReasonTimeout, "no answer from %s within %s; check wiring A/B, address, baud and timeout", x.who(), span(x.port.Timeout))
}

// refuse drains the line, so that the rest of a bad answer is not taken for
// the next one.
func (w *wire) refuse(f *fault) error {
	w.clean = false
	if f.lost {
		return f
	}
	if err := w.drain(); err != nil && !errors.Is(err, errNeverSilent) {
		return lineFault(w.port, err)
	}
	return f
}

// writeCoil sets a coil and has the slave repeat it. On a line that is not
// known to echo or not, a read finds out first: the answer to a write looks
// like its echo. Nothing is set once ctx has ended.
func (w *wire) writeCoil(ctx context.Context, address byte, coil uint16, on bool) error {
	if w.echo == echoUnknown {
		if _, err := w.exchange(ctx, modbus.ReadRequest(address, modbus.ReadCoils, coil, 1)); lineLost(err) {
			return err
		}
	}
	_, err := w.exchange(ctx, modbus.WriteCoilRequest(address, coil, on))
	return err
}
