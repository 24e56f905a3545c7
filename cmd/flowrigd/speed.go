package main

import (
	"context"
	"fmt"
	"time"
)

// leastEvery is the shortest time between two states of a fast rig on MQTT, of
// the machine's: a subscriber is a person or a program of this world.
const leastEvery = 100 * time.Millisecond

// startClock lets a simulated rig's clock go, once the broker is there or a
// second is over: what the machine needs to begin is no time of the rig's.
func (d *daemon) startClock(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for d.clock.Speed() != 1 && ctx.Err() == nil && d.connected() != nil {
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
	}
	d.clock.Start()
}

// watchSpeed says where the clock of a simulated rig stands so often, to wait
// for the lines, that it does not run as fast as it should.
func (d *daemon) watchSpeed(ctx context.Context) error {
	speed := d.clock.Speed()
	d.clock.WatchPace(ctx, func(follows bool, actual float64) {
		if follows {
			d.log.Info("the lines follow", "speed", speed)
			d.tooFast.Store(nil)
			return
		}
		text := fmt.Sprintf("the lines do not follow at speed %g: rig and daemon run some %.3g times as fast as the clock, and wait for them", speed, actual)
		d.log.Warn(text)
		d.tooFast.Store(&text)
	})
	return nil
}

// slow is what does not follow the speed; "" where all does.
func (d *daemon) slow() string {
	if text := d.tooFast.Load(); text != nil {
		return *text
	}
	return ""
}
