package main

import (
	"reflect"

	"flowrigd/config"
	"flowrigd/daq/mqtt"
	"flowrigd/daq/notify"
)

// shifts are the parts that tell others and that a reload may replace.
type shifts struct{ mqtt, notify *shift }

// tellers are who tells under one configuration.
type tellers struct {
	publisher *mqtt.Publisher // nil without [mqtt]
	notifier  *notify.Notifier
}

// newTellers builds what differs from old; where old is nil, all. Nothing runs
// yet, so that a configuration can still be refused.
func (d *daemon) newTellers(old, cfg *config.Config) (t tellers, err error) {
	t.publisher, t.notifier = d.publisher.Load(), d.notifier.Load()
	if old == nil || !same(old.MQTT, cfg.MQTT) {
		if t.publisher, err = d.newPublisher(cfg); err != nil {
			return t, err
		}
	}
	if old == nil || !reflect.DeepEqual(old.Notify, cfg.Notify) {
		t.notifier, err = notify.New(notify.Options{
			Notify: cfg.Notify, Site: cfg.Site, Rig: cfg.Rig, Outbox: d.recording, Log: d.log,
		})
	}
	return t, err
}

func (d *daemon) newPublisher(cfg *config.Config) (*mqtt.Publisher, error) {
	if cfg.MQTT == nil {
		return nil, nil
	}
	to := *cfg.MQTT
	if to.Embedded {
		to.Broker = d.broker.URL()
	}
	if d.clock.Speed() != 1 {
		to.Every = max(d.clock.Real(to.Every), leastEvery)
	}
	return mqtt.New(mqtt.Options{
		Config: to, Site: cfg.Site, Rig: cfg.Rig, Outbox: d.recording, State: view{d},
		Alive: func() bool { return d.loop.Alive() == nil }, Log: d.log, Now: d.clock.Wall,
	})
}

// buildTelling builds those who tell from the start. What they refuse is wrong
// configuration: a secret or a certificate that cannot be read.
func (d *daemon) buildTelling(cfg *config.Config) error {
	t, err := d.newTellers(nil, cfg)
	if err != nil {
		return wrongUse{err}
	}
	d.publisher.Store(t.publisher)
	d.notifier.Store(t.notifier)
	d.telling = shifts{mqtt: newShift(d.publishing(t.publisher), d.log), notify: newShift(t.notifier.Run, d.log)}
	return nil
}

// replace lets others tell from now on. What they have to tell stands in the
// recording, with the mark of each receiver: nothing is lost in between.
func (d *daemon) replace(t tellers) {
	if d.publisher.Swap(t.publisher) != t.publisher {
		d.telling.mqtt.hand(d.publishing(t.publisher))
	}
	if d.notifier.Swap(t.notifier) != t.notifier {
		d.telling.notify.hand(t.notifier.Run)
	}
}

func (d *daemon) publishing(p *mqtt.Publisher) work {
	switch {
	case p == nil:
		return idle
	case d.broker != nil:
		return d.broker.toOwn(p.Run)
	}
	return p.Run
}
