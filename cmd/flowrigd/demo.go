package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/clock"
	"flowrigd/daq/instrument"
	"flowrigd/daq/parts"
	"flowrigd/daq/rigsim"
	"flowrigd/daq/web"
)

// demoReady is how long the simulated lines may take to appear.
const demoReady = 5 * time.Second

func demoVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "demo",
		Short: "Everything on one machine without hardware",
		Args:  takes(""),
		Long: "demo runs a simulated rig on real serial lines (pseudo-terminals where there are any),\n" +
			"an embedded broker, the recording and the page, and prints where page and broker are.\n" +
			"It ends with Ctrl-C or SIGTERM.",
	}
	var s scene
	s.flags(c, "sweep", "how many times as fast as the clock rig and daemon run, both by one clock")
	listen := c.Flags().String("listen", "127.0.0.1:8080", "`ADDRESS` of the page, on this machine")
	data := c.Flags().String("data", "", "`DIR` of the recording (a temporary one unless given)")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if err := web.OnlyHere(*listen); err != nil {
			return wrongUse{fmt.Errorf("demo: --listen %w", err)}
		}
		if _, err := s.sim(rigsim.Options{Memory: true}); err != nil { // before anything is made
			return err
		}
		return demo(c.Context(), &s, *listen, *data, c.OutOrStdout(), newLog(c.ErrOrStderr()))
	}
	return c
}

// demo runs the simulated rig and a daemon that reads it.
func demo(ctx context.Context, s *scene, listen, data string, stdout io.Writer, log *slog.Logger) error {
	lines, err := os.MkdirTemp("", "flowrigd-demo-")
	if err != nil {
		return fmt.Errorf("demo: temporary directory: %w", err)
	}
	defer os.RemoveAll(lines)
	begun := func() {}
	if data == "" {
		if data, err = os.MkdirTemp("", "flowrigd-recording-"); err != nil {
			return fmt.Errorf("demo: temporary directory: %w", err)
		}
		temporary := data
		defer func() { os.RemoveAll(temporary) }() // of a demo that did not begin nothing stays
		begun = func() {
			log.Info("recording in a temporary directory, which stays", "directory", temporary)
			temporary = ""
		}
	}
	if data, err = filepath.Abs(data); err != nil {
		return fmt.Errorf("demo: --data: %w", err)
	}
	memory := runtime.GOOS == "windows"
	if memory {
		log.Info("this machine has no pseudo-terminals: the simulated lines are in memory")
	}
	shared := clock.NewFast(s.speed) // by rig and daemon
	sim, err := s.sim(rigsim.Options{Clock: shared, Dir: lines, Memory: memory, Relay: true, Bypass: true, Log: log, Config: rigsim.ConfigOptions{
		Listen: listen, Broker: "embedded", Record: data, Tokens: filepath.Join(data, "tokens"),
	}})
	if err != nil {
		return err
	}
	w := wiring{open: instrument.OpenSerial, clock: shared, simulator: sim, oneTimeKey: rand.Text(), brokerAt: "127.0.0.1:0", mustServe: true, log: log}
	if memory {
		w.open = dialling(sim)
	}
	rig := parts.Begin("simulated rig", sim.Run)
	err = demoDaemon(ctx, sim, rig, w, filepath.Join(lines, "demo.toml"), stdout, begun)
	return errors.Join(err, rig.Stop(stopReading))
}

// dialling opens the rig's lines in memory.
func dialling(sim *rigsim.Sim) instrument.Opener {
	return func(p config.Port) (instrument.Line, error) {
		far, err := sim.Dial(p.Device)
		if err != nil {
			return nil, err
		}
		return far.(instrument.Line), nil
	}
}

// demoDaemon runs the daemon beside the simulated rig, and tells when it has
// begun.
func demoDaemon(ctx context.Context, sim *rigsim.Sim, rig *parts.Running, w wiring, name string, stdout io.Writer, begun func()) error {
	select {
	case <-sim.Ready():
	case <-rig.Done(): // why is told when it is stopped
		return nil
	case <-time.After(demoReady):
		return fmt.Errorf("demo: the simulated lines did not appear within %v", demoReady)
	}
	cfg, problems := config.Parse(name, sim.Config())
	if config.Fatal(problems) {
		return wrongUse{fmt.Errorf("demo: %s", problems[0])}
	}
	var person *parts.Running
	err := runAll(ctx, cfg, w, func(d *daemon) {
		if person == nil {
			begun()
			fmt.Fprintf(stdout, "page %s\nbroker %s\n", d.server.URL(), d.broker.URL())
			person = parts.Begin("simulated demonstrator", func(ctx context.Context) error {
				d.clock.StartOnce(ctx, func() bool { return d.connected() == nil })
				return sim.Demonstrate(ctx, d.clock, d.loop.Do)
			})
		}
	})
	if person != nil {
		err = errors.Join(err, person.Stop(stopSinks))
	}
	return err
}
