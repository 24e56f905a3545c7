package main

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"flowrigd/daq/instrument"
)

func portsVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "ports [--json]",
		Short: "The serial ports of this machine, with stable names and USB identity",
		Args:  takes(""),
		Long: "ports opens none of them. Write a stable name as device: it stays the same wherever the\n" +
			"adapter is plugged in, and after a restart.",
	}
	asJSON := c.Flags().Bool("json", false, "one JSON array")
	c.RunE = func(c *cobra.Command, _ []string) error {
		found, err := instrument.Ports()
		if err != nil {
			return err
		}
		if *asJSON {
			return json.NewEncoder(c.OutOrStdout()).Encode(found)
		}
		return instrument.PrintPorts(c.OutOrStdout(), c.ErrOrStderr(), found)
	}
	return c
}
