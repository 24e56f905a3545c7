package main

import (
	"context"
	"fmt"
	"time"

	"flowrigd/daq"
)

// health is how the surroundings of the engine do.
func (d *daemon) health() daq.Health {
	w := d.notifier.Load().Waiting()
	r := daq.Receivers{Known: w.Known, Failed: w.Who}
	if r.Failed != "" {
		r.Waited = time.Since(w.Since)
	}
	return daq.Health{Recording: d.recording.Healthy() == nil, Broker: d.connected() == nil, Receivers: r, Slow: *d.slow.Load()}
}

// watchSpeed says where a simulated rig does not run as fast as it should.
func (d *daemon) watchSpeed(ctx context.Context) error {
	d.clock.WatchPace(ctx, func(slow string) {
		if d.slow.Store(&slow); slow != "" {
			d.log.Warn(slow)
			return
		}
		d.log.Info("the lines follow", "speed", d.clock.Speed())
	})
	return nil
}

func (d *daemon) connected() error {
	p := d.publisher.Load()
	if p == nil {
		return nil
	}
	if d.broker != nil {
		if why := d.broker.Missing(); why != nil {
			return why
		}
	}
	if ok, since, why := p.Connected(); !ok {
		return fmt.Errorf("mqtt: not connected since %s: %s", daq.FormatTime(since), why)
	}
	return nil
}

// checks are what must work to be ready: one entry each, nil when it does.
func (d *daemon) checks() map[string]error {
	m := map[string]error{"engine": d.loop.Alive(), "recording": d.recording.Healthy()}
	check := func(name string, works bool, format string, args ...any) {
		if m[name] = nil; !works {
			m[name] = fmt.Errorf(format, args...)
		}
	}
	if d.publisher.Load() != nil {
		m["broker"] = d.connected()
	}
	for _, s := range d.notifier.Load().Stats() {
		check("receiver "+s.Receiver, s.Trouble == "", "not told of alarms since %s, %d wait: %s", daq.FormatTime(s.Since), s.Waiting, s.Trouble)
	}
	if o := d.answered.Load(); d.relay != nil && o != nil {
		check("heating permit relay", o.Error == "", "%s", o.Error)
	}
	if k := d.recording.keeper; k != nil {
		m["permit file"] = k.Healthy()
	}
	s := d.loop.Last()
	for _, in := range d.cfg.Load().Instruments {
		q := s.Quality[in.ID]
		check("instrument "+in.Name, q.Usable(), "%s", q)
	}
	return m
}
