//go:build unix

package main

import (
	"context"
	"log/slog"
	"net"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flowrigd/config"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/instrument"
	"flowrigd/daq/parts"
)

// occupyPort is another program on a port: it takes connections, counts them
// and says nothing.
func occupyPort(t *testing.T) (at string, calls *atomic.Int64, free func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	t.Cleanup(func() { l.Close() })
	calls = new(atomic.Int64)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			calls.Add(1)
			defer c.Close()
		}
	}()
	return l.Addr().String(), calls, func() { l.Close() }
}

// loaded is a file's configuration.
func loaded(t *testing.T, file string) *config.Config {
	t.Helper()
	cfg, problems := config.Load(file)
	if config.Fatal(problems) {
		t.Fatal(problems)
	}
	return cfg
}

// TestEmbeddedBrokerWithoutItsPort starts beside another program on the
// embedded broker's port. The rig is watched and recorded all the same,
// /readyz says who has the port and what to do, the other program is not
// called, also not after a reload; when it has gone the broker works.
func TestEmbeddedBrokerWithoutItsPort(t *testing.T) {
	t.Parallel()
	b, at := newHandBench(t), daqtest.FreeAddress(t)
	port, calls, free := occupyPort(t)
	file := b.config(at, "\n[mqtt]\nbroker = \"embedded\"\n")
	hup := make(chan os.Signal)
	d, err := newDaemon(loaded(t, file), wiring{open: instrument.OpenSerial, brokerAt: port, reload: hup, log: slog.New(slog.DiscardHandler)})
	must(t, err)
	running := parts.Begin("daemon", d.run)
	defer func() {
		if err := running.Stop(20 * time.Second); err != nil {
			t.Error(err)
		}
	}()
	within(t, 10*time.Second, "a good state on disk", func() bool {
		n, _ := now(at)["sequence"].(float64)
		return allGood(now(at)) && n > 0
	})
	busy := func() {
		t.Helper()
		unready(t, at, "not ready: broker", "another program has "+port+": stop it, or write broker = \\\"tcp://"+port+"\\\"")
		if metric(at, "flowrig_mqtt_connected") != 0 || calls.Load() != 0 {
			t.Errorf("connected: %v, %d calls of the other program", metric(at, "flowrig_mqtt_connected"), calls.Load())
		}
	}
	busy()
	b.config(at, "\n[mqtt]\nbroker = \"embedded\"\nkeep_alive = \"7 s\"\n")
	hup <- syscall.SIGHUP
	within(t, 5*time.Second, "the reload is taken", func() bool { return metric(at, "flowrig_config_reloads_total") == 1 })
	busy()
	free()
	within(t, 10*time.Second, "ready", func() bool { status, _ := get("http://" + at + "/readyz"); return status == 200 })
	if metric(at, "flowrig_mqtt_connected") != 1 {
		t.Error("ready without a connection to the embedded broker")
	}
}

// TestEndWithoutTheEmbeddedBroker stops a daemon whose broker never listened.
func TestEndWithoutTheEmbeddedBroker(t *testing.T) {
	t.Parallel()
	b := newHandBench(t)
	port, _, _ := occupyPort(t)
	cfg := loaded(t, b.config(daqtest.FreeAddress(t), "\n[mqtt]\nbroker = \"embedded\"\n"))
	d, err := newDaemon(cfg, wiring{open: instrument.OpenSerial, brokerAt: port, log: slog.New(slog.DiscardHandler)})
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := d.run(ctx); err != nil {
		t.Error(err)
	}
}

// TestDemoWantsItsBroker holds that a demo ends at once without one.
func TestDemoWantsItsBroker(t *testing.T) {
	t.Parallel()
	b := newHandBench(t)
	port, _, _ := occupyPort(t)
	cfg := loaded(t, b.config(daqtest.FreeAddress(t), "\n[mqtt]\nbroker = \"embedded\"\n"))
	_, err := newDaemon(cfg, wiring{open: instrument.OpenSerial, brokerAt: port, mustServe: true, log: slog.New(slog.DiscardHandler)})
	if err == nil || !strings.Contains(err.Error(), "another program has "+port) {
		t.Errorf("error %v", err)
	}
}
