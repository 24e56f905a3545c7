package main

import (
	"cmp"
	"reflect"
	"time"

	"flowrigd/config"
	"flowrigd/daq/broker"
	"flowrigd/daq/mqtt"
	"flowrigd/daq/notify"
	"flowrigd/daq/parts"
)

// embeddedListen is where an embedded broker listens unless the demo says so.
const embeddedListen = "127.0.0.1:1883"

// buildBroker starts the embedded broker where it is wanted. Where it cannot
// start, a daemon goes on without; a demo is nothing without it.
func (d *daemon) buildBroker(cfg *config.Config) (err error) {
	if cfg.MQTT == nil || !cfg.MQTT.Embedded {
		return nil
	}
	d.broker, err = broker.Keep(cmp.Or(d.w.brokerAt, embeddedListen), d.log)
	if err != nil && !d.w.mustServe {
		d.log.Error("the embedded broker does not listen; everything else works, and it is tried again", "why", err)
		return nil
	}
	return err
}

// leastEvery is the shortest time between two states of a fast rig on MQTT, of
// the machine's: a subscriber is a person or a program of this world.
const leastEvery = 100 * time.Millisecond

// replaceables are the publisher and the notifier, which a reload may replace.
type replaceables struct{ mqtt, notify *parts.Replaceable }

// sinks are the publisher and the notifier of one configuration.
type sinks struct {
	publisher *mqtt.Publisher // nil without [mqtt]
	notifier  *notify.Notifier
}

// newSinks builds what differs from old; where old is nil, all. Nothing runs
// yet, so that a configuration can still be refused.
func (d *daemon) newSinks(old, cfg *config.Config) (t sinks, err error) {
	t.publisher, t.notifier = d.publisher.Load(), d.notifier.Load()
	if old == nil || !reflect.DeepEqual(old.MQTT, cfg.MQTT) {
		if t.publisher, err = d.newPublisher(cfg); err != nil {
			return t, err
		}
	}
	if old == nil || !reflect.DeepEqual(old.Notify, cfg.Notify) {
		t.notifier, err = notify.New(notify.Options{
			Notify: cfg.Notify, Site: cfg.Site, Rig: cfg.Rig, Feed: d.recording, Log: d.log,
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
		Config: to, Site: cfg.Site, Rig: cfg.Rig, Feed: d.recording, State: view{d},
		Alive: func() bool { return d.loop.Alive() == nil }, Do: view{d}.Do, Past: &d.past, Log: d.log, Now: d.clock.Wall,
	})
}

// buildSinks builds publisher and notifier at the start. What they refuse is wrong
// configuration: a secret or a certificate that cannot be read.
func (d *daemon) buildSinks(cfg *config.Config) error {
	t, err := d.newSinks(nil, cfg)
	if err != nil {
		return wrongUse{err}
	}
	d.publisher.Store(t.publisher)
	d.notifier.Store(t.notifier)
	d.sinks = replaceables{mqtt: parts.NewReplaceable(d.publisherWork(t.publisher), d.log), notify: parts.NewReplaceable(t.notifier.Run, d.log)}
	return nil
}

// replaceSinks lets others publish and notify from now on. What they have to send is in the
// recording, with the mark of each receiver: nothing is lost in between.
func (d *daemon) replaceSinks(t sinks) {
	if d.publisher.Swap(t.publisher) != t.publisher {
		d.sinks.mqtt.Replace(d.publisherWork(t.publisher))
	}
	if d.notifier.Swap(t.notifier) != t.notifier {
		d.sinks.notify.Replace(t.notifier.Run)
	}
}

func (d *daemon) publisherWork(p *mqtt.Publisher) parts.Work {
	switch {
	case p == nil:
		return parts.Idle
	case d.broker != nil:
		return d.broker.OnceListening(p.Run)
	}
	return p.Run
}
