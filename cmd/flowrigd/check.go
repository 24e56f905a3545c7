package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"flowrigd/config"
)

func checkVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Report every error and warning in a configuration file",
		Args:  takes("", "config"),
		Long: "check prints every problem of the file, one a line, as\n" +
			"file:line:column: what is wrong; what to write instead\n" +
			"and ends with 2 when there is one. Warnings alone end with 0. It opens no port.\n" +
			"Where there is nothing to say it says so on stderr.",
	}
	file := c.Flags().String("config", "", "configuration `FILE`")
	c.RunE = func(c *cobra.Command, _ []string) error {
		_, problems := config.Load(*file)
		if len(problems) == 0 {
			fmt.Fprintf(c.ErrOrStderr(), "%s: nothing is wrong or unwise in it\n", config.Printable(*file))
		}
		return say(c.OutOrStdout(), problems)
	}
	return c
}

// say prints problems and makes an error of those that are not warnings.
func say(w io.Writer, problems []config.Problem) error {
	for _, p := range problems {
		fmt.Fprintln(w, p)
	}
	if config.Fatal(problems) {
		return errSaid
	}
	return nil
}

// load reads a configuration for a verb that needs a right one; what is wrong
// goes to w.
func load(w io.Writer, file string) (*config.Config, error) {
	cfg, problems := config.Load(file)
	if err := say(w, problems); err != nil {
		return nil, wrongUse{fmt.Errorf("%s: the configuration is wrong: see the lines above", file)}
	}
	return cfg, nil
}
