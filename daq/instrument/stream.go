package instrument

import (
	"bytes"
	"context"
	"errors"
	"os"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// stream listens to the one instrument of a line that sends unprompted. It opens,
// loses and closes the line as a bus does.
type stream struct {
	*bus
	in         config.Instrument
	buf        []byte
	skip       bool      // until the end of a line whose beginning was not received
	lastLineAt time.Time // when the last good line came, or the last fault was reported
	missed     int       // good lines in a row that did not come in time
	lastFault  error     // why the lines since then were no good
	reportedAt time.Time // when a good line was reported last
	speed      float64   // of the clock, by which the next line is expected
}

// step looks for the line, or listens.
func (s *stream) step(ctx context.Context) {
	if s.wire == nil {
		s.seek(ctx)
		return
	}
	s.receive()
}

// seek looks for the line, and tells at the instrument's pace that it is away.
func (s *stream) seek(ctx context.Context) {
	s.worker.Due(s.startedMono + s.openAt)
	changed := s.clock.Changed()
	wait := time.NewTimer(s.clock.Wait(max(0, s.openAt-s.since())))
	defer wait.Stop()
	select {
	case <-ctx.Done():
		return
	case w := <-s.writes:
		w.done <- s.refusal()
		return
	case <-s.changes:
		return
	case <-changed:
		return
	case <-wait.C:
	}
	s.find()
	s.buf, s.skip = s.buf[:0], true
	s.listenAnew()
	if s.wire == nil {
		s.out(reading(&s.in, result{err: s.lineErr}, 0, s.now()))
	}
}

// listenAnew waits from now on for the next good line; a fast clock does not pass
// the time by which it must have come.
func (s *stream) listenAnew() {
	s.lastLineAt, s.lastFault = time.Now(), nil
	s.worker.Until(s.now() + s.in.Every + s.port.Timeout)
}

// refusal answers a write: a line on which an instrument sends unprompted
// has no room for requests. The configuration refuses it too.
func (s *stream) refusal() error {
	return faultf(daq.ReasonPort, "%s: the instrument on it sends unprompted; give the relay a line of its own", place(s.port))
}

// receive takes what comes until the instrument is overdue.
func (s *stream) receive() {
	select {
	case w := <-s.writes:
		w.done <- s.refusal()
	case <-s.changes:
	default:
	}
	if speed := s.clock.Speed(); speed != s.speed { // the next line gets the whole of its time
		s.speed, s.lastLineAt = speed, time.Now()
		s.wire.useClock(s.clock)
	}
	overdue := s.lastLineAt.Add(s.clock.Real(s.in.Every) + s.wire.timeout + s.wire.fair(s.missed > 0 && s.missed < deadAfter))
	until := time.Now().Add(pauseEvery)
	if overdue.Before(until) {
		until = overdue
	}
	buf, err := s.wire.readUntil(s.buf, until)
	s.wire.received = s.wire.received[:0]
	s.buf = buf
	s.lines()
	switch {
	case errors.Is(err, errNeverSilent):
		s.lastFault = faultf(daq.ReasonFormat, "%s: no end %q within %d bytes; check end and baud", place(s.port), s.in.Stream.End, maxAnswer)
		s.buf, s.skip = s.buf[:0], true
	case err != nil && !errors.Is(err, os.ErrDeadlineExceeded):
		if s.ending() {
			return
		}
		f := lineFault(s.port, err)
		s.lose(f)
		s.out(reading(&s.in, result{err: f}, 0, s.now()))
		return
	}
	if !time.Now().Before(overdue) && s.clock.Speed() == s.speed {
		s.reportOverdue()
	}
}

// pauseEvery is how long a write or a reload waits for a stream at most.
const pauseEvery = 100 * time.Millisecond

// lines takes whole lines off the front of what came.
func (s *stream) lines() {
	for {
		line, rest, found := bytes.Cut(s.buf, s.in.Stream.End)
		if !found {
			return
		}
		if s.skip {
			s.skip = false
		} else {
			s.line(line)
		}
		s.buf = append(s.buf[:0], rest...)
	}
}

// line takes one line. One that fits nothing is kept as the reason, should no
// good one come in time: an instrument may also send lines of other kinds.
func (s *stream) line(line []byte) {
	number, err := readLine(s.port, s.in.Stream.Line, s.in.Checksum, line)
	if err != nil {
		s.lastFault = s.swapped(err, append(bytes.Clone(line), s.in.Stream.End...))
		return
	}
	s.missed = 0
	took := time.Since(s.lastLineAt)
	s.listenAnew()
	now := s.lastLineAt
	if now.Sub(s.reportedAt) < s.clock.Real(s.in.Every/streamShare) {
		return
	}
	s.reportedAt = now
	s.out(reading(&s.in, result{number: number, count: whole(number)}, took, s.now()))
}

// streamShare is how many lines of a stream are reported in the time of every, at
// most: one that sends without a pause must not fill the queue of the others,
// nor the disk.
const streamShare = 4

// reportOverdue tells why nothing good has come in time.
func (s *stream) reportOverdue() {
	err := s.lastFault
	switch {
	case err != nil:
	case len(s.buf) > 0 && !s.skip:
		err = s.swapped(faultf(daq.ReasonTimeout, "half a line on %s: %q has no end %q; check end and baud", place(s.port), clip(s.buf), s.in.Stream.End), s.buf)
	default:
		err = faultf(daq.ReasonTimeout, "nothing from %s for %s; check wiring, baud, and that the instrument is set to send unprompted", place(s.port), span(s.in.Every+s.port.Timeout))
	}
	if len(s.buf) > 0 {
		s.buf, s.skip = s.buf[:0], true // what ends this line later is no line of its own
	}
	s.out(reading(&s.in, result{err: err}, time.Since(s.lastLineAt), s.now()))
	s.missed++
	s.listenAnew()
	s.loseMoved()
}
