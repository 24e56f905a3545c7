package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"flowrigd/config"
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
		if found == nil {
			found = []instrument.Found{}
		}
		if *asJSON {
			return json.NewEncoder(c.OutOrStdout()).Encode(found)
		}
		return printPorts(c, found)
	}
	return c
}

func printPorts(c *cobra.Command, found []instrument.Found) error {
	if len(found) == 0 {
		fmt.Fprintln(c.ErrOrStderr(), "no serial port: is the adapter plugged in, and does this user belong to the group of its device (often dialout)?")
		return nil
	}
	w := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "DEVICE\tUSB\tWRITE THIS IN THE CONFIGURATION")
	for _, f := range found {
		usb, stable := "-", f.Device
		if f.USB != nil {
			usb = strings.Join(strings.Fields(f.USB.Vendor+":"+f.USB.Product+" "+f.USB.Name+" "+f.USB.Serial), " ")
		}
		if len(f.Stable) > 0 {
			stable = f.Stable[0]
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", config.Printable(f.Device), config.Printable(usb), config.Printable(stable))
	}
	return w.Flush()
}
