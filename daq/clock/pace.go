package clock

import (
	"context"
	"time"
)

// How a speed is judged: over paceOver, and as not followed below slowBelow of
// it until it is above fastAbove again.
const (
	paceOver  = 4 * time.Second
	slowBelow = 0.9
	fastAbove = 0.95
)

// WatchPace tells, until ctx ends, when a fast clock stands so often for those who
// work by it that it does not run as fast as it should, and when it does again;
// actual is how many times as fast as the machine's it runs.
func (c *Clock) WatchPace(ctx context.Context, tell func(follows bool, actual float64)) {
	if c.fast == nil {
		<-ctx.Done()
		return
	}
	tick := time.NewTicker(paceOver)
	defer tick.Stop()
	was, at := c.Now(), time.Now() // the first stretch is not judged: it begins before the clock does
	for follows := true; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now, passed := c.Now(), time.Since(at)
		switch actual := (now - was).Seconds() / passed.Seconds(); {
		case was == 0:
		case follows && actual < slowBelow*c.fast.speed, !follows && actual > fastAbove*c.fast.speed:
			follows = !follows
			tell(follows, actual)
		}
		was, at = now, at.Add(passed)
	}
}
