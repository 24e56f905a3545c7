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
		if s.options.Clock != nil {
			s.follow()
			continue
		}
		s.Advance(due(now.Sub(last), s.options.Speed))
		last = now
	}
}

// due is how far the rig moves for a time that has passed.
func due(passed time.Duration, speed float64) time.Duration {
	return time.Duration(float64(min(passed, catchUp)) * speed)
}

// follow brings the rig to the clock that it shares, where it shares one: before
// every answer, so that a number is as old as its reading says.
func (s *Sim) follow() {
	if s.options.Clock == nil {
		return
	}
	s.following.Lock()
	defer s.following.Unlock()
	now := s.options.Clock.Now()
	passed := now - s.reached
	if s.options.Clock.Speed() == 1 { // a fast clock has stood while nothing could follow
		passed = min(passed, catchUp)
	}
	s.Advance(passed)
	s.reached = now
}

// real is the machine's time for a time of the lines'. Only a shared clock makes
// them faster.
func (s *Sim) real(d time.Duration) time.Duration {
	if s.options.Clock == nil {
		return d
	}
	return s.options.Clock.Real(d)
}

// paced is closed by the next change of the shared clock's speed.
func (s *Sim) paced() <-chan struct{} {
	if s.options.Clock == nil {
		return nil
	}
	return s.options.Clock.Changed()
}

// late waits by the lines' clock, unless done comes first. A shared clock may
// stand: for the answer that is late, until its time-out is over.
func (s *Sim) late(done <-chan struct{}, d time.Duration) {
	if s.options.Clock == nil {
		pause(done, d)
		return
	}
	for end := s.options.Clock.Now() + d; d > 0; d = end - s.options.Clock.Now() {
		select {
		case <-done:
			return
		default:
			pause(done, s.options.Clock.Wait(d))
		}
	}
}

// wall is the time that the rig's files and observations bear.
func (s *Sim) wall() time.Time {
	if s.options.Clock == nil {
		return time.Now().UTC()
	}
	return s.options.Clock.Wall()
}
