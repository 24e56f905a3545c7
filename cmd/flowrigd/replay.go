package main

import (
	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/build"
	"flowrigd/daq/live"
	"flowrigd/daq/record"
)

func replayVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "replay --data DIR",
		Short: "Play the recorded inputs through computation and alarms again",
		Args:  takes("", "data"),
		Long: "replay prints the state of every interval as one JSON line, from the start of each run,\n" +
			"under the recorded configurations or another one. Without --config it compares\n" +
			"with the digests that the live run stored each minute, and exits with 1 on a\n" +
			"difference. A run that another build made, or one for another kind of machine, is\n" +
			"compared with its recorded rows to 1e-9, what both know: differences are listed\n" +
			"with their first time and are no failure. Inputs that are not in the recording are named: what comes after them\n" +
			"is computed without them and compared with nothing, up to the end of that run, and\n" +
			"replay exits with 1. With --from a run of this build begins at its newest checkpoint\n" +
			"before that time (one is made each hour). A run whose first inputs have been purged\n" +
			"is played from its oldest checkpoint, if this build made it.",
	}
	data := c.Flags().String("data", "", "`DIR` of the recording, or a database file")
	var p live.Replay
	c.Flags().Func("from", "first `TIME` to print, RFC 3339", config.SetTime(&p.Begin))
	c.Flags().Func("to", "`TIME` before which to end", config.SetTime(&p.End))
	file := c.Flags().String("config", "", "`FILE` to play under in place of the recorded configurations")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		p.From, p.Recording, p.Build = r, r.Recording(), build.Program()
		p.Out, p.Say = c.OutOrStdout(), c.ErrOrStderr()
		if *file != "" {
			if p.Under, err = load(c.ErrOrStderr(), *file); err != nil {
				return err
			}
		}
		return p.Run(c.Context())
	}
	return c
}
