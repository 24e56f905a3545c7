package instrument

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"flowrigd/config"
	"flowrigd/daq/clock"
)

// maxAnswer bounds what is kept of one answer: no frame and no line is longer.
const maxAnswer = 1024

// wire is an open line and the timing of an exchange on it: silence between two
// exchanges, and one answer at a time. It belongs to one goroutine.
type wire struct {
	line       Line
	port       config.Port
	character  time.Duration
	silence    time.Duration // that ends a frame
	timeout    time.Duration // of an answer
	fast       bool          // it is a simulated one, whose clock waits
	slowest    time.Duration // what an answer takes on this machine, at its worst of late
	echo       echo
	got        [maxAnswer]byte
	lastByteAt time.Time     // when the last bytes of an answer came
	clean      bool          // the last exchange left nothing behind: no late answer is about
	unhurried  bool          // no poll waits for the line: a silence may last a millisecond longer
	takes      time.Duration // what the answer that is waited for takes at the least; 0: not known
	sentAt     time.Time
	sent       []byte // of the last exchange, for the verb probe
	received   []byte
}

// echo says whether the adapter hands back what it sends (two wires, no echo
// suppression).
type echo uint8

const (
	echoUnknown echo = iota
	echoAbsent
	echoPresent
)

func newWire(line Line, port config.Port) *wire {
	return &wire{line: line, port: port, character: port.Character(), silence: port.Silence(), timeout: port.Timeout}
}

// What an answer gets on a fast line, of the machine's time, before its time-out
// begins: a simulated instrument is a program among others. The clock stands
// meanwhile. It is fairTimeout, on a busy machine slowShare times what the slowest
// answer of late took, and slowTimeout at most. One that was asked in vain gets that
// when it is asked again, until it counts as dead: a busy machine makes nobody
// silent. Twice slowTimeout is less than the clock's patience.
const (
	fairTimeout = 100 * time.Millisecond
	slowTimeout = time.Second
	slowShare   = 5
	forgotten   = 16 // exchanges in which a slow answer loses most of its weight
)

// useClock lets the line keep to a clock: a simulated line is part of its rig, and
// so many times as fast as it is now.
func (w *wire) useClock(c *clock.Clock) {
	w.fast = c.Speed() != 1
	w.character, w.silence, w.timeout = c.Real(w.port.Character()), c.Real(w.port.Silence()), c.Real(w.port.Timeout)
}

// fair is how long the next answer may take before its time-out begins; again says
// that the last one was no good, and that who gave it is not dead.
func (w *wire) fair(again bool) time.Duration {
	switch {
	case !w.fast:
		return 0
	case again:
		return slowTimeout
	}
	return min(max(fairTimeout, slowShare*w.slowest), slowTimeout)
}

// errNeverSilent says that the line is never silent.
var errNeverSilent = errors.New("the line is never silent; something else talks on it, or the baud is wrong")

// sendRequest waits until the line has been silent for long enough after the last
// answer, drops what is in the input, which belongs to no request of ours, and
// sends, unless ctx has ended by then. deadline is when the answer must have come.
func (w *wire) sendRequest(ctx context.Context, request []byte) (deadline time.Time, err error) {
	w.sent, w.received = append(w.sent[:0], request...), w.received[:0]
	waiting, err := w.listen(max(0, w.silence-time.Since(w.lastByteAt)))
	if err == nil && waiting {
		w.clean = false
		err = w.drain()
	}
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return time.Time{}, err
	}
	sending := time.Duration(len(request)) * w.character
	if err := w.line.SetWriteDeadline(time.Now().Add(sending + w.timeout)); err != nil {
		return time.Time{}, err
	}
	if _, err := w.line.Write(request); err != nil {
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return time.Time{}, fmt.Errorf("the line does not take what is sent: %w", errJammed)
		}
		return time.Time{}, err
	}
	w.sentAt = time.Now()
	return w.sentAt.Add(sending + w.timeout), nil
}

// errJammed is a line that takes no bytes; it is opened anew.
var errJammed = errors.New("flow control or a dead adapter holds it up; check the cable and plug it in anew")

// readUntil reads what comes next, until the deadline, and appends it to buf; at
// most maxAnswer bytes in all.
func (w *wire) readUntil(buf []byte, deadline time.Time) ([]byte, error) {
	if len(buf) >= maxAnswer {
		return buf, errNeverSilent
	}
	w.sleepThrough(deadline)
	if err := w.line.SetReadDeadline(deadline); err != nil {
		return buf, err
	}
	n, err := w.line.Read(w.got[:maxAnswer-len(buf)])
	w.received = append(w.received, w.got[:n]...)
	buf = append(buf, w.got[:n]...)
	if n > 0 {
		w.lastByteAt = time.Now()
		return buf, nil
	}
	return buf, err
}

// worthSleeping is the least time that is slept through, for the runtime wakes a sleeper up
// to a millisecond late; soundSleep is the most, for no stop wakes one.
const (
	worthSleeping = 2 * time.Millisecond
	soundSleep    = 100 * time.Millisecond
)

// sleepThrough sleeps, once an exchange, while the answer cannot be whole yet: each of
// its bytes would wake the program.
func (w *wire) sleepThrough(deadline time.Time) {
	d := min(w.takes-time.Since(w.sentAt), time.Until(deadline), soundSleep)
	w.takes = 0
	if d >= worthSleeping {
		time.Sleep(d)
	}
}

// listen waits for bytes without taking them, where the line can do so finely;
// elsewhere it waits with a deadline and keeps what it reads in received only. Where
// nobody is in a hurry it sleeps and looks then: to wait finely costs the processor
// some thirty looks at the clock.
func (w *wire) listen(d time.Duration) (bool, error) {
	if l, ok := w.line.(listener); ok {
		if w.unhurried {
			time.Sleep(d)
			d = 0
		}
		return l.Listen(d)
	}
	if err := w.line.SetReadDeadline(time.Now().Add(max(d, time.Microsecond))); err != nil {
		return false, err
	}
	n, err := w.line.Read(w.got[:])
	w.note(w.got[:n])
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return n > 0, nil
	}
	return n > 0, err
}

// quietAfter says whether nothing follows a line of text: neither rest, which was
// read with it, nor bytes within 3.5 characters.
//
// After a clean exchange it does not wait for that silence: the answer counts at
// once, and sendRequest waits before the next request. Only after an exchange that
// was late or bad can this line be the answer to an earlier question.
func (w *wire) quietAfter(rest []byte) (quiet bool, err error) {
	disturbed := len(rest) > 0
	if !disturbed && !w.clean {
		disturbed, err = w.listen(w.silence)
	}
	w.clean = !disturbed && err == nil
	return w.clean, err
}

// drain reads and drops until the line is silent.
func (w *wire) drain() error {
	end := time.Now().Add(w.timeout + maxAnswer*w.character)
	for time.Now().Before(end) {
		heard, err := w.listen(w.silence)
		if err != nil || !heard {
			return err
		}
		if err := w.drop(); err != nil {
			return err
		}
	}
	return errNeverSilent
}

// drop takes what listen heard and left in the line.
func (w *wire) drop() error {
	if _, ok := w.line.(listener); !ok {
		return nil
	}
	if err := w.line.SetReadDeadline(time.Now().Add(w.timeout)); err != nil {
		return err
	}
	n, err := w.line.Read(w.got[:])
	w.note(w.got[:n])
	return err
}

// note keeps bytes for the verb probe, within bounds.
func (w *wire) note(b []byte) {
	w.received = append(w.received, b[:min(len(b), max(0, maxAnswer-len(w.received)))]...)
}
