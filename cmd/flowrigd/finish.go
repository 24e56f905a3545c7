package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// finish adds the verbs that come with the library, help and completion, and
// makes wrong words a wrong use there too. It comes after the outputs are set:
// completion keeps the one that it finds.
func finish(root *cobra.Command) {
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		switch c.Name() {
		case "help":
			c.Args = helpTopic
		case "completion":
			c.RunE = completionShell
			c.Args = nil
			for _, shell := range c.Commands() {
				shell.Args = nil // the library's own calls a word too many a command
			}
			strictly(c)
		}
	}
}

// helpTopic refuses help on what is no verb.
func helpTopic(c *cobra.Command, args []string) error {
	if _, rest, err := c.Root().Find(args); err != nil || len(rest) > 0 {
		return wrongUse{fmt.Errorf("help: %s: no verb of that name; see flowrigd --help", strings.Join(args, " "))}
	}
	return nil
}

func completionShell(c *cobra.Command, _ []string) error {
	_ = c.Help()
	return wrongUse{errors.New("completion: for which shell? write one of the list above")}
}
