package rigsim

import (
	"context"
	"time"
)

const (
	beat = 20 * time.Millisecond // how often the rig is moved on
	// catchUp is the longest that the rig makes up for after a pause. A process
	// that was suspended for an hour goes on where it stood.
	catchUp = 250 * time.Millisecond
)

// drive keeps the rig in step with the clock.
func (s *Sim) drive(ctx context.Context) {
	tick := time.NewTicker(beat)
	defer tick.Stop()
	last := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := time.Now()
		s.Advance(due(now.Sub(last), s.options.Speed))
		last = now
	}
}

// due is how far the rig moves for a time that has passed.
func due(passed time.Duration, speed float64) time.Duration {
	return time.Duration(float64(min(passed, catchUp)) * speed)
}
