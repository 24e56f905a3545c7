package main

import (
	"github.com/spf13/cobra"

	"flowrigd/cmd/flowrigd/hangup"
	"flowrigd/daq/instrument"
)

func runVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "run --config FILE",
		Short: "The daemon: read, compute, publish, record, alarm",
		Args:  takes("", "config"),
		Long: "run works until SIGTERM. SIGHUP reads the configuration again: a valid file takes\n" +
			"over without a lost reading, a wrong one is refused and the old one stays.\n" +
			"It is a second line of defence at most: fit an independent thermal cut-out.",
	}
	file := c.Flags().String("config", "", "configuration `FILE`")
	c.RunE = func(c *cobra.Command, _ []string) error {
		cfg, err := load(c.ErrOrStderr(), *file)
		if err != nil {
			return err
		}
		defer hangup.Listen()()
		log := newLog(c.ErrOrStderr())
		w := wiring{open: instrument.OpenSerial, reload: hangup.Signals, log: log}
		return runAll(c.Context(), cfg, w, func(d *daemon) {
			log.Info("running", "site", cfg.Site, "rig", cfg.Rig, "page", d.server.URL(), "recording", cfg.Record.Directory)
		})
	}
	return c
}
