package live

import (
	"context"
	"time"

	"flowrigd/daq"
)

// healthEvery is how often the surroundings of the engine are looked at, at least
// leastHealth apart by the machine's clock.
const (
	healthEvery = 250 * time.Millisecond
	leastHealth = 10 * time.Millisecond
)

// WatchHealth looks at the surroundings of the engine until ctx ends, and tells it
// of every change.
func (l *Loop) WatchHealth(ctx context.Context, look func() daq.Health) error {
	var last daq.Health
	for told := false; ; {
		now := look()
		if !told || changed(last, now) {
			told = l.offer(daq.Input{Kind: daq.KindHealth, Health: &now})
		}
		last = now
		changed := l.o.Clock.Changed()
		next := time.NewTimer(max(l.o.Clock.Wait(healthEvery), leastHealth))
		select {
		case <-ctx.Done():
			next.Stop()
			return nil
		case <-changed:
			next.Stop()
		case <-next.C:
		}
	}
}

// changed says whether there is more to tell than that an alarm has waited for
// longer: the engine counts on by itself. One that has waited for less is another.
func changed(last, now daq.Health) bool {
	younger := now.Receivers.Waited < last.Receivers.Waited
	last.Receivers.Waited = now.Receivers.Waited
	return younger || now != last
}
