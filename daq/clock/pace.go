package clock

import (
	"context"
	"fmt"
	"time"
)

// How a speed is judged: over paceOver, and as not followed below slowBelow of
// it until it is above fastAbove again.
const (
	paceOver  = 4 * time.Second
	slowBelow = 0.9
	fastAbove = 0.95
)

// readyWithin is how long a fast clock waits for who is not ready, of the machine's;
// readyEvery is how often it looks.
const (
	readyWithin = time.Second
	readyEvery  = 20 * time.Millisecond
)

// StartOnce starts a fast clock once ready says so, or a second is over, or ctx: what
// the machine needs to begin is no time of the rig's. Any other goes already.
func (c *Clock) StartOnce(ctx context.Context, ready func() bool) {
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	tick := time.NewTicker(readyEvery)
	defer tick.Stop()
	for !c.started() && ctx.Err() == nil && !ready() {
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
	}
	c.Start()
}

// WatchPace tells, until ctx ends, when a fast clock stands so often for those who
// work by it that it does not run as fast as it should, in a sentence, and with ""
// when it does again.
func (c *Clock) WatchPace(ctx context.Context, tell func(slow string)) {
	if c.fast == nil {
		<-ctx.Done()
		return
	}
	tick := time.NewTicker(paceOver)
	defer tick.Stop()
	was, at := c.Now(), time.Now() // the first stretch is not judged: it begins before the clock does
	for follows := true; ; {
		changed := c.Changed()
		speed, paused := c.Pace()
		select {
		case <-ctx.Done():
			return
		case <-changed: // another speed is judged from its beginning
			if !follows {
				follows = true
				tell("")
			}
			was, at = c.Now(), time.Now()
			tick.Reset(paceOver)
			continue
		case <-tick.C:
		}
		now, passed := c.Now(), time.Since(at)
		switch actual := (now - was).Seconds() / passed.Seconds(); {
		case was == 0 || paused:
		case follows && actual < slowBelow*speed:
			follows = false
			tell(fmt.Sprintf("the lines do not follow at speed %g: rig and daemon run some %.3g times as fast as the clock, and wait for them", speed, actual))
		case !follows && actual > fastAbove*speed:
			follows = true
			tell("")
		}
		was, at = now, at.Add(passed)
	}
}
