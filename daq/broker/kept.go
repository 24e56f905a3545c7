package broker

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// tryAgain is how often a broker that could not listen is tried again.
const tryAgain = 2 * time.Second

// Kept is a broker that is tried again until it listens: another program on its
// port must not keep the rig from being watched.
type Kept struct {
	at        string
	log       *slog.Logger
	listening chan struct{} // closed once it does

	mu     sync.Mutex
	broker *Broker // nil before
	why    error
}

// Keep tries to start a broker. The error is why it does not listen yet; it may be
// run all the same.
func Keep(listen string, log *slog.Logger) (*Kept, error) {
	k := &Kept{at: listen, log: log, listening: make(chan struct{})}
	return k, k.try()
}

func (k *Kept) try() error {
	b, err := Start(k.at)
	k.mu.Lock()
	defer k.mu.Unlock()
	k.broker, k.why = b, err
	if err == nil {
		close(k.listening)
	}
	return err
}

// Run tries again until the broker listens, and closes it at the end.
func (k *Kept) Run(ctx context.Context) error {
	tick := time.NewTicker(tryAgain)
	defer tick.Stop()
	for k.Missing() != nil {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if k.try() == nil {
				k.log.Info("the embedded broker listens", "url", k.URL())
			}
		}
	}
	<-ctx.Done()
	return k.Close()
}

// Missing is why the broker does not listen; nil when it does.
func (k *Kept) Missing() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.why
}

// URL is where clients of this machine connect, once it listens.
func (k *Kept) URL() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.broker == nil {
		return "tcp://" + k.at
	}
	return k.broker.URL()
}

// OnceListening is work of a client that begins only when the broker listens: until
// then another program may have the port.
func (k *Kept) OnceListening(work func(context.Context) error) func(context.Context) error {
	return func(ctx context.Context) error {
		select {
		case <-ctx.Done():
			return nil
		case <-k.listening:
			return work(ctx)
		}
	}
}

// Close ends the broker where it listens.
func (k *Kept) Close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.broker == nil {
		return nil
	}
	return k.broker.Close()
}
