package instrument

import (
	"context"
	"errors"
	"time"

	"flowrigd/config"
)

// pulseWidth is long enough for an adapter that passes control lines on every
// few milliseconds, and for an optocoupler (common practice, no source).
const pulseWidth = 20 * time.Millisecond

// controls is a Line with control lines.
type controls interface {
	SetControl(line config.Pulse, on bool) error
}

// reopen is how long a line waits between two openings. Each raises RTS and DTR:
// where one of them is the permit's, openings must not make the train of pulses
// that holds its relay.
func (o *Options) reopen(port string) time.Duration {
	if t := o.Trip; t != nil && t.Pulse != config.NoPulse && t.Port == port {
		return max(reopenEvery, 2*t.Watchdog)
	}
	return reopenEvery
}

var errNoControls = errors.New("this line has no control lines; give the permit relay a serial port that has them, or a coil")

// pulse raises a control line and lets it fall: each refresh of the permit is
// one pulse, and a level that stays, high or low, is none. Off lets it rest low.
func (w *wire) pulse(ctx context.Context, line config.Pulse, on bool) error {
	c, ok := w.line.(controls)
	if !ok {
		return errNoControls
	}
	if on {
		if err := c.SetControl(line, true); err != nil {
			return lineFault(w.port, err)
		}
		wait(ctx, pulseWidth)
	}
	if err := c.SetControl(line, false); err != nil {
		return lineFault(w.port, err)
	}
	return nil
}

// wait waits, unless ctx ends before.
func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
