package main

import (
	"cmp"
	"context"

	"flowrigd/config"
	"flowrigd/daq/broker"
	"flowrigd/daq/parts"
)

// embeddedListen is where an embedded broker listens unless the demo says so.
const embeddedListen = "127.0.0.1:1883"

type ownBroker = broker.Kept

func embedded(cfg *config.Config) bool { return cfg.MQTT != nil && cfg.MQTT.Embedded }

// buildBroker starts the embedded broker where it is wanted. Where it cannot
// start, a daemon goes on without; a demo is nothing without it.
func (d *daemon) buildBroker(cfg *config.Config) (err error) {
	if !embedded(cfg) {
		return nil
	}
	d.broker, err = broker.Keep(cmp.Or(d.w.brokerAt, embeddedListen))
	if err != nil && !d.w.mustServe {
		d.log.Error("the embedded broker does not listen; everything else works, and it is tried again", "why", err)
		return nil
	}
	return err
}

// runBroker holds the embedded broker, where there is one.
func (d *daemon) runBroker(ctx context.Context) error {
	if d.broker == nil {
		return parts.Idle(ctx)
	}
	return d.broker.Run(ctx, d.log)
}
