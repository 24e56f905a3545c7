package instrument

import (
	"context"
	"errors"
	"fmt"
	"os"

	"flowrigd/daq"
)

// find opens the line. A line that stays away is said once in the log, and in
// every reading.
func (b *bus) find() {
	b.openAt = b.since() + b.reopen
	line, err := b.open(b.port)
	if err != nil {
		f := faultf(daq.ReasonPort, "%s: %v", b.port.Name, err)
		if b.lineErr == nil || b.lineErr.text != f.text {
			b.log.Warn("no line", "error", f.text)
		}
		b.lineErr = f
		return
	}
	if !b.adopt(line) {
		return
	}
	if b.lineErr != nil {
		b.log.Info("the line is back", "device", b.port.Device)
	}
	b.wire, b.lineErr = newWire(line, b.port), nil
	b.wire.useClock(b.clock)
	for _, p := range b.polls {
		p.unanswered, p.notBefore = 0, 0
		p.due = min(p.due, b.since())
	}
}

// adopt makes a line the one that abort closes; it closes it at once when the
// bus has ended meanwhile.
func (b *bus) adopt(line Line) bool {
	b.mu.Lock()
	closing := b.closing
	if !closing {
		b.current = line
	}
	b.mu.Unlock()
	if closing {
		b.shut(line)
	}
	return !closing
}

// abort closes the line for good; an exchange in flight ends at once.
func (b *bus) abort() {
	b.mu.Lock()
	line := b.current
	b.current, b.closing = nil, true
	b.mu.Unlock()
	if line != nil {
		b.shut(line)
	}
}

// ending says whether abort has closed the line.
func (b *bus) ending() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.closing
}

// lose gives up a line that is gone, to be opened anew.
func (b *bus) lose(f *fault) {
	b.mu.Lock()
	line := b.current
	b.current = nil
	b.mu.Unlock()
	b.wire, b.lineErr = nil, f
	b.openAt = max(b.openAt, b.since()+reopenEvery/4)
	if line != nil {
		b.log.Warn("line lost", "error", f.text)
		b.shut(line)
	}
}

func (b *bus) shut(line Line) {
	if err := line.Close(); err != nil && !errors.Is(err, os.ErrClosed) {
		b.log.Warn("close", "device", b.port.Device, "error", err)
	}
}

// write does what somebody waits for.
func (b *bus) write(w *write) {
	switch err := w.ctx.Err(); {
	case err != nil:
		w.done <- err
		return
	case b.wire == nil && b.lineErr != nil:
		w.done <- b.lineErr
		return
	case b.wire == nil:
		w.done <- fmt.Errorf("%s: not open yet", place(b.port))
		return
	}
	err := b.timed(b.unconfirmed > 0 && b.unconfirmed < deadAfter, func() error { return w.do(b.wire) })
	b.unconfirmed++
	if err == nil {
		b.unconfirmed = 0
	}
	if f, ok := errors.AsType[*fault](err); ok && f.lost {
		b.lose(f)
	}
	w.done <- err
}

// first has something done before the next poll, and waits for it.
func (b *bus) first(ctx context.Context, what string, do func(*wire) error) error {
	w := &write{ctx: ctx, do: do, done: make(chan error, 1)}
	select {
	case b.writes <- w:
	case <-b.done:
		return fmt.Errorf("%s: closed", place(b.port))
	case <-ctx.Done():
		return fmt.Errorf("%s: %s: %w", place(b.port), what, ctx.Err())
	}
	select {
	case err := <-w.done:
		return err
	case <-ctx.Done():
		return fmt.Errorf("%s: %s: %w", place(b.port), what, ctx.Err())
	}
}
