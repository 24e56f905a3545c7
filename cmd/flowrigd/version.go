package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// build says which program this is.
type build struct {
	Version string `json:"version"`
	Commit  string `json:"commit"`
	Go      string `json:"go"`
}

// thisBuild reads what the Go tool wrote into the program.
func thisBuild() build {
	b := build{Version: "unknown", Commit: "unknown", Go: runtime.Version()}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if info.Main.Version != "" {
		b.Version = info.Main.Version
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			b.Commit = s.Value
		}
	}
	return b
}

func versionVerb() *cobra.Command {
	c := &cobra.Command{Use: "version [--json]", Short: "Version, commit and Go version"}
	asJSON := c.Flags().Bool("json", false, "one JSON object")
	c.RunE = func(c *cobra.Command, _ []string) error {
		b := thisBuild()
		if *asJSON {
			return json.NewEncoder(c.OutOrStdout()).Encode(b)
		}
		_, err := fmt.Fprintf(c.OutOrStdout(), "flowrigd %s, commit %s, %s\n", b.Version, b.Commit, b.Go)
		return err
	}
	return c
}
