package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"flowrigd/calc/explain"
	"flowrigd/config"
)

func calcVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "calc --flow Q --temperature T --bore D",
		Short: "Reynolds number and regime of one timed reading, with the working",
		Args:  quotedQuantities,
		Long: "calc takes quantities with units and, if you know it, their uncertainty behind ±:\n" +
			"an expanded uncertainty (k = 2), or limits of error with (limits) behind it.\n" +
			"Without ± for flow, temperature and bore the uncertainty of Re is unknown.\n" +
			"Re gives a band; only the dye shows the flow.",
		Example: "  flowrigd calc --flow \"1.2 L/min ± 2 %\" --temperature \"42 Cel ± 0.5 K\" --bore \"13 mm ± 0.05 mm\"\n" +
			"  flowrigd calc --volume \"200 mL ± 2 mL (limits)\" --time \"30.0 s\" --temperature \"20 Cel\" --bore \"13 mm\" --explain\n" +
			"  flowrigd calc --flow \"0.4 L/min\" --temperature \"65 Cel\" --bore \"13 mm\" --length \"900 mm\" --ambient \"20 Cel\" --explain",
	}
	words := map[string]*string{}
	for _, q := range config.AskedReading() {
		words[q.Flag] = c.Flags().String(q.Flag, q.Preset, q.Help)
	}
	for _, q := range config.AskedWords() {
		words[q.Flag] = c.Flags().String(q.Flag, q.Preset, q.Help)
	}
	asJSON := c.Flags().Bool("json", false, "print JSON with the API's field names; unknown is null")
	working := c.Flags().Bool("explain", false, "print the worked steps")
	c.RunE = func(c *cobra.Command, _ []string) error {
		reading, err := config.ParseReading(func(flag string) string { return *words[flag] })
		if err != nil {
			return wrongUse{err}
		}
		answer, err := explain.Solve(reading)
		if err != nil {
			return wrongUse{fmt.Errorf("calc: %w", err)}
		}
		text := answer.Short()
		switch {
		case *asJSON:
			text = answer.JSON(*working)
		case *working:
			text = answer.Working()
		}
		if _, err := io.WriteString(c.OutOrStdout(), text); err != nil {
			return fmt.Errorf("calc: output: %w", err)
		}
		return nil
	}
	return c
}

// quotedQuantities refuses what the shell has parted from its flag: the unit
// behind a number, above all.
func quotedQuantities(_ *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return fmt.Errorf(`%q: unexpected argument; put number and unit in quotes, such as --flow "1.2 L/min"`, args[0])
}
