package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/record"
)

func exportVerb() *cobra.Command {
	words := record.ExportWords()
	c := &cobra.Command{
		Use:   "export --data DIR WHAT",
		Short: "Hand over the recording as CSV or JSON: samples, alarms, notes, results",
		Long: "export writes the recording in the order in which it was made; unknown is an empty\n" +
			"cell, or null. In CSV a text that a spreadsheet would take for a formula, one that begins\n" +
			"with = + - or @, has an apostrophe before it. Control characters are written \\u001b.",
		Args: takes("WHAT to export ("+strings.Join(words, ", ")+")", "data"), ValidArgs: words,
	}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	var e record.Export
	c.Flags().Func("from", "first `TIME`, RFC 3339, such as 2026-03-02T09:00:00Z", instant(&e.From))
	c.Flags().Func("to", "`TIME` before which to end", instant(&e.To))
	c.Flags().Func("every", "one row each `DURATION`, such as \"10 s\"", length(&e.Every))
	c.Flags().StringVar(&e.Format, "format", "csv", "csv or json")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := oneOf("export", args[0], c.ValidArgs...); err != nil {
			return err
		}
		if err := oneOf("export: --format", e.Format, "csv", "json"); err != nil {
			return err
		}
		e.What = args[0]
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
func instant(to *time.Time) func(text string) error {
	return func(text string) (err error) {
		if *to, err = time.Parse(time.RFC3339, text); err != nil && text != "" {
			return errors.New("not a time; write RFC 3339, such as 2026-03-02T09:00:00Z")
		}
		return nil
	}
}

// length reads a duration of a flag with its unit; "" is none.
func length(to *time.Duration) func(text string) error {
	return func(text string) error {
		if text == "" {
			return nil
		}
		v, err := config.ParseQuantity(text, config.Time)
		*to = time.Duration(v.X * float64(time.Second))
		return err
	}
}

func backupVerb() *cobra.Command {
	c := &cobra.Command{Use: "backup --data DIR --to FILE", Short: "Copy the recording while the daemon runs", Args: takes("", "data", "to")}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	to := c.Flags().String("to", "", "`FILE` of the copy; it must not exist yet")
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
