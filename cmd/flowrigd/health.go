package main

import (
	"context"
	"fmt"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/notify"
)

// healthEvery is how often the surroundings of the engine are looked at.
const healthEvery = 250 * time.Millisecond

// watchHealth tells the engine of every change of its surroundings.
func (d *daemon) watchHealth(ctx context.Context) error {
	tick := time.NewTicker(max(d.clock.Wait(healthEvery), 10*time.Millisecond))
	defer tick.Stop()
	var last health
	for told := false; ; {
		if now := d.health(); !told || now != last {
			told, last = d.loop.Health(now.forEngine()), now
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// health is how the surroundings do.
type health struct {
	recording, broker bool
	receivers         notify.Waiting
	slow              string
}

func (d *daemon) health() health {
	return health{d.recording.Healthy() == nil, d.connected() == nil, d.notifier.Load().Waiting(), d.slow()}
}

func (h health) forEngine() daq.Health {
	r := daq.Receivers{Known: h.receivers.Known, Failed: h.receivers.Who}
	if r.Failed != "" {
		r.Waited = time.Since(h.receivers.Since)
	}
	return daq.Health{Recording: h.recording, Broker: h.broker, Receivers: r, Slow: h.slow}
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
