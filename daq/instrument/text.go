package instrument

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// ask is one question of a text conversation: send, then wait for a line. The
// error is a *fault.
func (w *wire) ask(in *config.Instrument) (float64, error) {
	q := in.Query
	deadline, err := w.sendRequest(context.Background(), q.Send)
	if err != nil {
		return 0, lineFault(w.port, err)
	}
	var buf, echo []byte
	for {
		if line, rest, found := bytes.Cut(buf, q.End); found {
			// An echo is told by its text, whatever the instrument makes of the end: so it
			// is never taken for a value, though a pattern may fit it.
			switch text := bytes.Trim(line, "\r\n"); {
			case len(text) == 0: // it begins with the end of a line
			case echo == nil && bytes.Equal(text, bytes.Trim(q.Send, "\r\n")):
				echo, deadline = q.Send, time.Now().Add(w.timeout)
			default:
				return w.reply(in, line, rest)
			}
			buf = rest
			continue
		}
		buf, err = w.readUntil(buf, deadline)
		switch {
		case errors.Is(err, os.ErrDeadlineExceeded):
			return 0, w.refuse(w.silentText(q, append(echo[:len(echo):len(echo)], buf...)))
		case err != nil:
			return 0, w.refuse(lineFault(w.port, err))
		}
	}
}

func (w *wire) silentText(q *config.Query, buf []byte) *fault {
	switch {
	case bytes.Equal(buf, q.Send):
		return faultf(daq.ReasonTimeout, "no answer to %q on %s within %s, only its echo; check the text to send, wiring, baud and timeout", clip(q.Send), place(w.port), span(w.port.Timeout))
	case len(buf) > 0:
		return faultf(daq.ReasonTimeout, "half a line on %s within %s: %q has no end %q; check end, baud and timeout", place(w.port), span(w.port.Timeout), clip(buf), q.End)
	}
	return faultf(daq.ReasonTimeout, "no answer to %q on %s within %s; check the text to send, wiring, baud and timeout", clip(q.Send), place(w.port), span(w.port.Timeout))
}

// reply takes a line when nothing follows it: a second line means that one of
// them answers an earlier question.
func (w *wire) reply(in *config.Instrument, line, rest []byte) (float64, error) {
	number, err := readLine(w.port, in.Query.Reply, in.Checksum, line)
	if err != nil && bytes.HasPrefix(line, in.Query.Send) {
		// An echo without an end of its own stands before the answer.
		number, err = readLine(w.port, in.Query.Reply, in.Checksum, line[len(in.Query.Send):])
	}
	q := in.Query
	switch quiet, lost := w.quietAfter(rest); {
	case lost != nil:
		return 0, lineFault(w.port, lost)
	case len(rest) > 0 && !bytes.Contains(rest, q.End):
		return 0, w.refuse(faultf(daq.ReasonProtocol, "%s: %q stands behind the end %q of the line; write the end as the instrument sends it, such as end = %q", place(w.port), clip(rest), q.End, append(bytes.Clone(q.End), clip(rest)...)))
	case !quiet:
		return 0, w.refuse(faultf(daq.ReasonProtocol, "%s: more than one line came for one question; check whether the timeout is too short, or another program asks as well", place(w.port)))
	}
	return number, err
}

// readLine checks a line without its end and takes its number. The error is a
// *fault.
func readLine(port config.Port, pattern config.Pattern, sum config.Checksum, line []byte) (float64, error) {
	payload, err := checked(sum, line)
	if err != nil {
		return 0, faultf(daq.ReasonChecksum, "%s: %v in %q; check baud and shielding", place(port), err, clip(line))
	}
	number, err := pattern.Match(payload)
	if m := (*config.Mistake)(nil); errors.As(err, &m) {
		return 0, faultf(daq.ReasonFormat, "%s: %v", place(port), m)
	}
	if err != nil {
		return 0, faultf(daq.ReasonFormat, "%s: %v; check the pattern, and baud where the text is garbled", place(port), err)
	}
	return number, nil
}

// checked verifies the checksum at the end of a line and takes it off. XOR and
// sum are two hexadecimal digits over all bytes before them, crc16 four with
// the polynomial of Modbus.
func checked(sum config.Checksum, line []byte) ([]byte, error) {
	if sum == config.NoChecksum {
		return line, nil
	}
	digits := 2
	if sum == config.CRC16Checksum {
		digits = 4
	}
	if len(line) < digits {
		return nil, errors.New("no checksum")
	}
	payload, tail := line[:len(line)-digits], line[len(line)-digits:]
	stated, err := strconv.ParseUint(string(tail), 16, 16)
	if err != nil {
		return nil, errors.New("no checksum at its end")
	}
	if actual := checksum(sum, payload); uint16(stated) != actual {
		return nil, fmt.Errorf("wrong checksum: %s where its bytes make %0*X", tail, digits, actual)
	}
	return payload, nil
}

func checksum(kind config.Checksum, payload []byte) uint16 {
	var sum byte
	for _, b := range payload {
		switch kind {
		case config.XORChecksum:
			sum ^= b
		case config.SumChecksum:
			sum += b
		}
	}
	if kind == config.CRC16Checksum {
		return modbus.CRC(payload)
	}
	return uint16(sum)
}

// clip shortens a line for a sentence.
func clip(line []byte) []byte { return line[:min(len(line), 60)] }
