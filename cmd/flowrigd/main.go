// Command flowrigd is the data-acquisition daemon of a pipe-transition bench.
//
//	verb and flags → configuration → wiring of the rooms under daq → exit code
//
// It holds the verbs, the signals, the exit codes and the wiring, and decides
// nothing about water, alarms or wires.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/logging"
)

// The exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

// wrongUse marks an error of the person's: a wrong flag or configuration.
type wrongUse struct{ error }

func (w wrongUse) Unwrap() error { return w.error }

// errSaid ends a verb whose problems are on stdout already.
var errSaid = wrongUse{errors.New("")}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program as a function: arguments in, exit code out.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	finish(root)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	if err.Error() != "" {
		fmt.Fprintf(stderr, "flowrigd: %s\n", printableLines(err.Error()))
	}
	if wrong := (wrongUse{}); errors.As(err, &wrong) {
		return exitUsage
	}
	return exitFailed
}

// newLog writes to stderr.
func newLog(w io.Writer) *slog.Logger { return slog.New(logging.Limit(slog.NewTextHandler(w, nil))) }

// printableLines keeps the lines of a text and nothing that moves a terminal.
func printableLines(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = config.Printable(lines[i])
	}
	return strings.Join(lines, "\n")
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "flowrigd",
		Short: "Data acquisition for a pipe-transition bench",
		Long: "flowrigd reads a flow meter, a thermocouple and a level sensor over serial lines,\n" +
			"computes the Reynolds number with its uncertainty, publishes, records and alarms.\n" +
			"It is never the safety system: fit an independent thermal cut-out.",
		SilenceUsage: true, SilenceErrors: true,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return wrongUse{fmt.Errorf("%s: no verb of that name; see flowrigd --help", args[0])}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			_ = c.Help()
			return wrongUse{errors.New("no verb given; choose one of the list above")}
		},
	}
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		if !c.HasParent() && c.Flags().NArg() > 0 { // flags of a verb that is none
			return c.Args(c, c.Flags().Args())
		}
		return wrongUse{fmt.Errorf("%w; see %s --help", err, c.CommandPath())}
	})
	for _, verb := range []*cobra.Command{ // in the order of the help
		demoVerb(), runVerb(), checkVerb(), portsVerb(), probeVerb(), simulateVerb(), exportVerb(), backupVerb(), replayVerb(), calcVerb(), tokenVerb(), versionVerb(),
	} {
		root.AddCommand(strictly(verb))
	}
	return root
}

// strictly makes a wrong number of arguments a wrong use (exit code 2).
func strictly(c *cobra.Command) *cobra.Command {
	check := c.Args
	if check == nil {
		check = noWords
	}
	c.Args = func(c *cobra.Command, args []string) error {
		if c.HasSubCommands() && len(args) == 0 {
			return nil
		}
		if err := check(c, args); err != nil {
			return wrongUse{fmt.Errorf("%s: %w; see %s --help", c.Name(), err, c.CommandPath())}
		}
		return nil
	}
	for _, sub := range c.Commands() {
		strictly(sub)
	}
	return c
}

// noWords refuses arguments: the verb takes flags only.
func noWords(c *cobra.Command, args []string) error {
	switch {
	case len(args) == 0:
		return nil
	case c.HasSubCommands():
		return fmt.Errorf("%q: nothing of that name here", args[0])
	}
	return fmt.Errorf("%q: unexpected argument; put each value after its flag, in quotes if it contains spaces", args[0])
}

// oneWord accepts exactly one argument; what names it.
func oneWord(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch len(args) {
		case 0:
			return fmt.Errorf("%s is missing", what)
		case 1:
			return nil
		}
		return fmt.Errorf("%q: unexpected argument; give %s, and put each value after its flag", args[1], what)
	}
}

// required makes a flag one without which the verb has no sense.
func required(c *cobra.Command, names ...string) {
	c.PreRunE = func(c *cobra.Command, _ []string) error {
		for _, name := range names {
			if !c.Flags().Changed(name) {
				return wrongUse{fmt.Errorf("%s: --%s is missing; see %s --help", c.Name(), name, c.CommandPath())}
			}
		}
		return nil
	}
}
