package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/instrument"
)

func probeVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe --config FILE INSTRUMENT",
		Short: "Talk to one instrument and show the bytes, the value, the timing, the fault",
		Long: "probe talks to one instrument of the configuration, by its name there (flow, temperature,\n" +
			"level, …), while no daemon has the line. It ends with 1 when no exchange gave a\n" +
			"believable value, and shows what the same bytes mean in other orders of words and bytes, and\n" +
			"what stands in the other table and one register up and down. It only reads.\n" +
			"--log keeps what went over the line in a file of text, for a report or a test.",
		Args: takes("the INSTRUMENT, by its name in the configuration,", "config"),
	}
	file := c.Flags().String("config", "", "configuration `FILE`")
	var p instrument.Probing
	c.Flags().IntVar(&p.Count, "count", 1, "how many exchanges")
	c.Flags().BoolVar(&p.JSON, "json", false, "one JSON object a line for each exchange")
	look := c.Flags().Bool("search", false, "where it is silent, look for it on the other ports, at other rates, framings and addresses")
	limit := 3 * time.Minute
	c.Flags().Func("search-time", "how long --search may take, at most, a `DURATION` (default \"3 min\")", config.SetDurationWithin(&limit, time.Second, 2*time.Hour, "30 min"))
	log := c.Flags().String("log", "", "write what goes over the line to a new `FILE`")
	c.RunE = func(c *cobra.Command, args []string) error {
		if p.Count < 1 {
			return wrongUse{fmt.Errorf("probe: --count %d: write 1 or more", p.Count)}
		}
		cfg, err := load(c.ErrOrStderr(), *file)
		if err != nil {
			return err
		}
		in := cfg.Named(args[0])
		if in == nil {
			return wrongUse{fmt.Errorf("probe: %s: no instrument of that name in the configuration; it has %s", args[0], strings.Join(cfg.Names(), ", "))}
		}
		p.Config, p.Instrument, p.Out, p.Say = cfg, *in, c.OutOrStdout(), c.ErrOrStderr()
		if *look {
			p.Search = limit
		}
		if *log == "" {
			return p.Run(c.Context())
		}
		f, err := newFile(*log)
		if err != nil {
			return err
		}
		p.Log = f
		return errors.Join(p.Run(c.Context()), f.Close())
	}
	return c
}

// newFile makes the file of --log, and writes over none.
func newFile(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	switch {
	case errors.Is(err, os.ErrExist):
		return nil, wrongUse{fmt.Errorf("probe: --log %s: the file is there already; write the name of a new one", name)}
	case err != nil:
		return nil, fmt.Errorf("probe: log: %w", err)
	}
	return f, nil
}
