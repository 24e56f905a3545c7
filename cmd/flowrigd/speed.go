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

// How a speed is judged: over paceOver, and as not followed below slowBelow of
// it until it is above fastAbove again.
const (
	paceOver  = 4 * time.Second
	slowBelow = 0.9
	fastAbove = 0.95
)

// watchSpeed says where the clock of a simulated rig stands so often, to wait
// for the lines, that it does not run as fast as it should.
func (d *daemon) watchSpeed(ctx context.Context) error {
	speed := d.clock.Speed()
	if speed == 1 {
		return idle(ctx)
	}
	tick := time.NewTicker(paceOver)
	defer tick.Stop()
	was, at := d.clock.Now(), time.Now() // the first stretch is not judged: it begins before the clock does
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		now, passed := d.clock.Now(), time.Since(at)
		if was > 0 {
			d.judgeSpeed(speed, (now-was).Seconds()/passed.Seconds())
		}
		was, at = now, at.Add(passed)
	}
}

func (d *daemon) judgeSpeed(speed, actual float64) {
	slow := d.tooFast.Load() != nil
	switch {
	case !slow && actual < slowBelow*speed:
		text := fmt.Sprintf("the lines do not follow at speed %g: rig and daemon run some %.3g times as fast as the clock, and wait for them", speed, actual)
		d.log.Warn(text)
		d.tooFast.Store(&text)
	case slow && actual > fastAbove*speed:
		d.log.Info("the lines follow", "speed", speed)
		d.tooFast.Store(nil)
	}
}

// slow is what does not follow the speed; "" where all does.
func (d *daemon) slow() string {
	if text := d.tooFast.Load(); text != nil {
		return *text
	}
	return ""
}
