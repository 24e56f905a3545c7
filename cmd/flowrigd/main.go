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
	begun := false // the words were right
	root.PersistentPreRun = func(*cobra.Command, []string) { begun = true }
	verb, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitDone
	}
	wrong := wrongUse{}
	if !begun && !errors.As(err, &wrong) {
		if err = fmt.Errorf("%w; see %s --help", err, verb.CommandPath()); verb != root {
			err = fmt.Errorf("%s: %w", strings.TrimPrefix(verb.CommandPath(), root.Name()+" "), err)
		}
	}
	if err.Error() != "" {
		fmt.Fprintf(stderr, "flowrigd: %s\n", config.PrintableLines(err.Error()))
	}
	if !begun || errors.As(err, &wrong) {
		return exitUsage
	}
	return exitFailed
}

// newLog writes to stderr.
func newLog(w io.Writer) *slog.Logger { return slog.New(logging.Limit(slog.NewTextHandler(w, nil))) }

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "flowrigd",
		Short: "Data acquisition for a pipe-transition bench",
		Long: "flowrigd reads a flow meter, a thermocouple and a level sensor over serial lines,\n" +
			"computes the Reynolds number with its uncertainty, publishes, records and alarms.\n" +
			"It is never the safety system: fit an independent thermal cut-out.",
		SilenceUsage: true, SilenceErrors: true,
		Args: knownVerb,
		RunE: asks("no verb given; choose one of the list above"),
	}
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		if c == root && c.Flags().NArg() > 0 { // flags of a verb that is none
			return knownVerb(c, c.Flags().Args())
		}
		return err
	})
	root.AddCommand(demoVerb(), runVerb(), checkVerb(), portsVerb(), probeVerb(), simulateVerb(), exportVerb(), reportVerb(), backupVerb(),
		replayVerb(), calcVerb(), tokenVerb(), versionVerb()) // in the order of the help
	return root
}

// finish takes in the verbs that come with the library, help and completion. It
// comes after the outputs are set: completion keeps the one that it finds.
func finish(root *cobra.Command) {
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		switch c.Name() {
		case "help":
			c.Args = knownVerb
		case "completion":
			c.Args, c.RunE = takes(""), asks("completion: for which shell? write one of the list above")
			for _, shell := range c.Commands() {
				shell.Args = takes("")
			}
		}
	}
}

// knownVerb refuses words that name no verb.
func knownVerb(c *cobra.Command, args []string) error {
	if found, rest, err := c.Root().Find(args); err != nil || len(args) > 0 && (found == c.Root() || len(rest) > 0) {
		return wrongUse{fmt.Errorf("%s: no verb of that name; see flowrigd --help", strings.Join(args, " "))}
	}
	return nil
}

// asks is what a verb does that stands for several: it lists them.
func asks(which string) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, _ []string) error {
		_ = c.Help()
		return wrongUse{errors.New(which)}
	}
}

// takes accepts what a verb needs: one word, which what names ("": none), and the
// flags without which it has no sense.
func takes(what string, flags ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case what != "" && len(args) == 0:
			return fmt.Errorf("%s is missing", what)
		case what != "" && len(args) > 1:
			return fmt.Errorf("%q: unexpected argument; give %s, and put each value after its flag", args[1], what)
		case what == "" && len(args) > 0 && c.HasSubCommands():
			return fmt.Errorf("%q: nothing of that name here", args[0])
		case what == "" && len(args) > 0:
			return fmt.Errorf("%q: unexpected argument; put each value after its flag, in quotes if it contains spaces", args[0])
		}
		for _, name := range flags {
			if !c.Flags().Changed(name) {
				return fmt.Errorf("--%s is missing", name)
			}
		}
		return nil
	}
}
