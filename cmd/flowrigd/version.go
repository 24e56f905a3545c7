package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// build says which program this is.
type build struct {
	Version string `json:"version"`
	Commit  string `json:"commit"`
	Go      string `json:"go"`
	Program string `json:"program,omitempty"` // names this very program, as the runs of a recording do
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

// programID names this very program: two builds of one commit may differ.
func programID() string {
	b, sum := thisBuild(), sha256.New()
	name, err := os.Executable()
	if err != nil {
		return ""
	}
	f, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	if _, err := io.Copy(sum, f); err != nil {
		return ""
	}
	return fmt.Sprintf("%s %s/%s %s", b.Version, runtime.GOOS, runtime.GOARCH, hex.EncodeToString(sum.Sum(nil)[:8]))
}

func versionVerb() *cobra.Command {
	c := &cobra.Command{Use: "version [--json]", Short: "Version, commit and Go version"}
	asJSON := c.Flags().Bool("json", false, "one JSON object")
	c.RunE = func(c *cobra.Command, _ []string) error {
		b := thisBuild()
		if *asJSON {
			b.Program = programID()
			return json.NewEncoder(c.OutOrStdout()).Encode(b)
		}
		_, err := fmt.Fprintf(c.OutOrStdout(), "flowrigd %s, commit %s, %s\n", b.Version, b.Commit, b.Go)
		return err
	}
	return c
}
