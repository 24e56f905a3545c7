package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"flowrigd/daq/build"
)

func versionVerb() *cobra.Command {
	c := &cobra.Command{Use: "version [--json]", Short: "Version, commit and Go version", Args: takes("")}
	asJSON := c.Flags().Bool("json", false, "one JSON object")
	c.RunE = func(c *cobra.Command, _ []string) error {
		b := build.This()
		if *asJSON {
			b.Program = build.Program()
			return json.NewEncoder(c.OutOrStdout()).Encode(b)
		}
		_, err := fmt.Fprintf(c.OutOrStdout(), "flowrigd %s, commit %s, %s\n", b.Version, b.Commit, b.Go)
		return err
	}
	return c
}
