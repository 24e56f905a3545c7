package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/calc/uncertainty"
	"flowrigd/config"
	"flowrigd/daq/record"
)

func exportVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "export --data DIR WHAT",
		Short: "Hand over the recording as CSV or JSON: samples, alarms or notes",
		Long: "export writes the recording in the order in which it was made; unknown is an empty\n" +
			"cell, or null. In CSV a text that a spreadsheet would take for a formula, one that begins\n" +
			"with = + - or @, has an apostrophe before it. Control characters are written \\u001b.",
		Args: oneWord("WHAT to export (samples, alarms or notes)"), ValidArgs: []string{"samples", "alarms", "notes"},
	}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	from := c.Flags().String("from", "", "first `TIME`, RFC 3339, such as 2026-03-02T09:00:00Z")
	to := c.Flags().String("to", "", "`TIME` before which to end")
	every := c.Flags().String("every", "", "one row each `DURATION`, such as \"10 s\"")
	format := c.Flags().String("format", "csv", "csv or json")
	required(c, "data")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := oneOf("export", args[0], c.ValidArgs...); err != nil {
			return err
		}
		if err := oneOf("export: --format", *format, "csv", "json"); err != nil {
			return err
		}
		e := record.Export{What: args[0], Format: *format}
		var err error
		if e.From, err = instant("--from", *from); err != nil {
			return err
		}
		if e.To, err = instant("--to", *to); err != nil {
			return err
		}
		if e.Every, err = length("--every", *every); err != nil {
			return err
		}
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		return r.Export(c.Context(), c.OutOrStdout(), e)
	}
	return c
}

// oneOf refuses a word that is none of those known.
func oneOf(flag, word string, known ...string) error {
	if slices.Contains(known, word) {
		return nil
	}
	return wrongUse{fmt.Errorf("%s %q: write one of %s", flag, word, strings.Join(known, ", "))}
}

// instant reads a time of a flag; "" is none.
func instant(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, wrongUse{fmt.Errorf("%s %q: not a time; write RFC 3339, such as 2026-03-02T09:00:00Z", flag, text)}
	}
	return t, nil
}

// length reads a duration of a flag with its unit; "" is none.
func length(flag, text string) (time.Duration, error) {
	if text == "" {
		return 0, nil
	}
	v, err := config.ParseQuantity(text, config.Time)
	if err != nil {
		return 0, wrongUse{fmt.Errorf("%s: %w", flag, err)}
	}
	return duration(v), nil
}

func duration(v uncertainty.Value) time.Duration { return time.Duration(v.X * float64(time.Second)) }

func backupVerb() *cobra.Command {
	c := &cobra.Command{Use: "backup --data DIR --to FILE", Short: "Copy the recording while the daemon runs"}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	to := c.Flags().String("to", "", "`FILE` of the copy; it must not exist yet")
	required(c, "data", "to")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		return r.Backup(c.Context(), *to)
	}
	return c
}
