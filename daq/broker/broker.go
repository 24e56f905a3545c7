// Package broker owns the embedded MQTT broker: one for a demonstration on one
// machine, without accounts and therefore on loopback alone.
//
//	listen address → Start, or Keep, which tries again → URL → Close
//
// It keeps retained messages in memory only, and it is known to drop QoS 1
// messages to a subscriber that cannot follow a flood: use a broker of your own
// for anything that matters.
package broker

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"syscall"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"

	"flowrigd/config"
)

// Broker is a broker that runs.
type Broker struct {
	server *mochi.Server
	url    string
	once   sync.Once
	err    error
}

// Start listens on a loopback address such as 127.0.0.1:1883; port 0 takes a
// free one.
func Start(listen string) (*Broker, error) {
	if err := loopback(listen); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return nil, listenError(listen, err)
	}
	b := &Broker{url: "tcp://" + l.Addr().String()}
	b.server = mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler), SysTopicResendInterval: 60})
	if err := b.serve(l); err != nil {
		l.Close()
		return nil, fmt.Errorf("broker: %w", err)
	}
	return b, nil
}

// windowsAddressInUse is WSAEADDRINUSE, which package syscall does not equate
// with EADDRINUSE.
const windowsAddressInUse = syscall.Errno(10048)

func listenError(listen string, err error) error {
	if errors.Is(err, syscall.EADDRINUSE) || errors.Is(err, windowsAddressInUse) {
		return fmt.Errorf("broker: %w; another program has %s: stop it, or write broker = \"tcp://%[2]s\" to use that one, and start flowrigd again", err, listen)
	}
	return fmt.Errorf("broker: %w", err)
}

func (b *Broker) serve(l net.Listener) error {
	if err := b.server.AddHook(new(auth.AllowHook), nil); err != nil {
		return err
	}
	if err := b.server.AddListener(listeners.NewNet("loopback", l)); err != nil {
		return err
	}
	return b.server.Serve()
}

// loopback refuses every address that another machine could reach.
func loopback(listen string) error {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return fmt.Errorf("broker: %w; write it as 127.0.0.1:1883", err)
	}
	if !config.IsLoopback(host) {
		return fmt.Errorf("broker: listen on %s: it has no accounts and serves this machine only; use 127.0.0.1 here, and a broker with accounts for other machines", listen)
	}
	return nil
}

// URL is where clients of this machine connect.
func (b *Broker) URL() string { return b.url }

// Close ends every connection and the broker. A second call does nothing more.
func (b *Broker) Close() error {
	b.once.Do(func() { b.err = b.server.Close() })
	return b.err
}
