package main

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"flowrigd/config"
	"flowrigd/daq/broker"
)

// embeddedListen is where an embedded broker listens unless the demo says so.
const embeddedListen = "127.0.0.1:1883"

// ownBroker is the embedded broker, or why it does not listen yet: another
// program on its port must not keep the rig from being watched.
type ownBroker struct {
	at        string
	listening chan struct{} // closed once it does

	mu     sync.Mutex
	broker *broker.Broker // nil before
	why    error
}

func embedded(cfg *config.Config) bool { return cfg.MQTT != nil && cfg.MQTT.Embedded }

// buildBroker starts the embedded broker where it is wanted. Where it cannot
// start, a daemon goes on without; a demo is nothing without it.
func (d *daemon) buildBroker(cfg *config.Config) error {
	if !embedded(cfg) {
		return nil
	}
	at := d.w.brokerAt
	if at == "" {
		at = embeddedListen
	}
	d.broker = &ownBroker{at: at, listening: make(chan struct{})}
	err := d.broker.try()
	if err != nil && !d.w.mustServe {
		d.log.Error("the embedded broker does not listen; everything else works, and it is tried again", "why", err)
		return nil
	}
	return err
}

// try starts the broker unless it listens.
func (o *ownBroker) try() error {
	b, err := broker.Start(o.at)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.broker, o.why = b, err
	if err == nil {
		close(o.listening)
	}
	return err
}

// run tries again until the broker listens, and closes it at the end.
func (o *ownBroker) run(ctx context.Context, log *slog.Logger) error {
	tick := time.NewTicker(serveAgain)
	defer tick.Stop()
	for o.missing() != nil {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if o.try() == nil {
				log.Info("the embedded broker listens", "url", o.URL())
			}
		}
	}
	<-ctx.Done()
	return o.Close()
}

// missing is why the broker does not listen; nil when it does.
func (o *ownBroker) missing() error {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.why
}

// URL is where clients of this machine connect, once it listens.
func (o *ownBroker) URL() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.broker == nil {
		return "tcp://" + o.at
	}
	return o.broker.URL()
}

// Close ends it where it listens.
func (o *ownBroker) Close() error {
	o.mu.Lock()
	b := o.broker
	o.mu.Unlock()
	if b == nil {
		return nil
	}
	return b.Close()
}

// runBroker holds the embedded broker, where there is one.
func (d *daemon) runBroker(ctx context.Context) error {
	if d.broker == nil {
		return idle(ctx)
	}
	return d.broker.run(ctx, d.log)
}

// onceListening starts a publisher to the embedded broker only when that listens:
// until then another program may have the port.
func (o *ownBroker) onceListening(publish work) work {
	return func(ctx context.Context) error {
		select {
		case <-ctx.Done():
			return nil
		case <-o.listening:
			return publish(ctx)
		}
	}
}
