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
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/instrument"
	"flowrigd/daq/rigsim"
)

// demoReady is how long the simulated lines may take to appear.
const demoReady = 5 * time.Second

func demoVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "demo",
		Short: "Everything on one machine without hardware",
		Long: "demo runs a simulated rig on real serial lines (pseudo-terminals where there are any),\n" +
			"an embedded broker, the recording and the page, and prints where page and broker are.\n" +
			"It ends with Ctrl-C or SIGTERM.",
	}
	var s scene
	s.flags(c, "sweep")
	listen := c.Flags().String("listen", "127.0.0.1:8080", "`ADDRESS` of the page")
	data := c.Flags().String("data", "", "`DIR` of the recording (a temporary one unless given)")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if err := s.check("demo"); err != nil {
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
	if data == "" {
		if data, err = os.MkdirTemp("", "flowrigd-recording-"); err != nil {
			return fmt.Errorf("demo: temporary directory: %w", err)
		}
		log.Info("recording in a temporary directory, which stays", "directory", data)
	}
	memory := !rigsim.Pseudoterminals
	if memory {
		log.Info("this machine has no pseudo-terminals: the simulated lines are in memory")
	}
	sim, err := s.sim(lines, memory, log)
	if err != nil {
		return err
	}
	rig := begin("simulated rig", sim.Run)
	err = demoDaemon(ctx, sim, rig, listen, data, stdout, log)
	return errors.Join(err, rig.stop(stopReading))
}

func demoDaemon(ctx context.Context, sim *rigsim.Sim, rig *stage, listen, data string, stdout io.Writer, log *slog.Logger) error {
	select {
	case <-sim.Ready():
	case <-rig.done:
		return rig.err
	case <-time.After(demoReady):
		return fmt.Errorf("demo: the simulated lines did not appear within %v", demoReady)
	}
	cfg, err := demoConfig(sim, listen, data)
	if err != nil {
		return err
	}
	w := wiring{open: instrument.OpenSerial, oneTimeKey: rand.Text(), brokerAt: "127.0.0.1:0", mustServe: true, log: log}
	if !rigsim.Pseudoterminals {
		w.open = sim.Open
	}
	d, err := newDaemon(cfg, w)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "page %s\nbroker %s\n", d.server.URL(), d.broker.URL())
	return d.run(ctx)
}

// demoConfig is the rig's own configuration with the demo's page and recording.
func demoConfig(sim *rigsim.Sim, listen, data string) (*config.Config, error) {
	record, err := filepath.Abs(data)
	if err != nil {
		return nil, fmt.Errorf("demo: %s: %w", data, err)
	}
	text := sim.Config(rigsim.ConfigOptions{Listen: listen, Broker: "embedded", Record: record, Tokens: filepath.Join(record, "tokens")})
	cfg, problems := config.Parse(filepath.Join(record, "demo.toml"), text)
	if config.Fatal(problems) {
		return nil, wrongUse{fmt.Errorf("demo: %s", problems[0])}
	}
	return cfg, nil
}
