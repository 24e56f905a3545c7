package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq/record"
	"flowrigd/daq/table"
)

func exportVerb() *cobra.Command {
	words := record.Exported()
	choice := strings.Join(words, ", ")
	c := &cobra.Command{
		Use:   "export --data DIR WHAT",
		Short: "Hand over the recording as CSV, JSON or Parquet: " + choice,
		Long: "export writes the recording in the order in which it was made, in SI units and degrees\n" +
			"Celsius; unknown is an empty cell, or null. --units bench writes in the page's units, and\n" +
			"names say so: flow_liters_per_minute, level_millimeters. Without --separator, --decimal\n" +
			"and --zone a CSV follows RFC 4180 with times in UTC; a spreadsheet whose comma is the\n" +
			"decimal sign opens one made with --separator \";\" --decimal , --zone local.\n" +
			"In CSV a text that a spreadsheet would take for a formula, one that begins\n" +
			"with = + - or @, has an apostrophe before it. Control characters are written \\u001b.\n" +
			"--out FILE writes to a new file, never over one that is there; beside a CSV stands\n" +
			"FILE" + table.DescriptionSuffix + ", which describes its columns by the W3C's CSVW.",
		Args: takes("WHAT to export ("+choice+")", "data"), ValidArgs: words,
	}
	data := c.Flags().String("data", "", "`DIR` of the recording, or a database file")
	var e record.Export
	exportFlags(c, &e)
	out := c.Flags().String("out", "", "new `FILE` to write to, in place of stdout")
	c.RunE = func(c *cobra.Command, args []string) error {
		e.What = args[0]
		if _, err := e.Plan(); err != nil {
			return wrongUse{err}
		}
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		count := 0
		if *out == "" {
			count, err = r.Export(c.Context(), c.OutOrStdout(), e)
		} else {
			count, err = r.ExportTo(c.Context(), *out, e)
		}
		if err != nil || count > 0 {
			return err
		}
		text, err := r.WhyNothing(c.Context(), e)
		if err == nil {
			fmt.Fprintln(c.ErrOrStderr(), "flowrigd: export: "+text)
		}
		return err
	}
	return c
}

func exportFlags(c *cobra.Command, e *record.Export) {
	f := c.Flags()
	f.Func("from", "first `TIME`, RFC 3339, such as 2026-03-02T09:00:00Z", config.SetTime(&e.From))
	f.Func("to", "`TIME` before which to end", config.SetTime(&e.To))
	f.Func("every", "the first row of each `DURATION`, such as \"10 s\"", config.SetDuration(&e.Form.Every))
	f.StringVar(&e.Form.Format, "format", "csv", "csv, json (an array), jsonl (an object a line) or parquet (Apache Parquet)")
	f.Func("columns", "`NAMES` of the columns to write, in that order: time,reynolds_number,flow", e.Form.SetColumns)
	f.Func("units", "`bench`: the page's units in place of SI", e.Form.SetUnits)
	f.StringVar(&e.Form.Separator, "separator", ",", "`SIGN` between the cells of a CSV: "+strings.Join(table.Separators, " "))
	f.StringVar(&e.Form.Decimal, "decimal", ".", "decimal `SIGN` of a CSV: . or ,")
	f.Func("zone", "write the times of a CSV as a spreadsheet reads them, in the time `ZONE`: local, or a name such as Europe/Paris", e.Form.SetZone)
}

func backupVerb() *cobra.Command {
	c := &cobra.Command{Use: "backup --data DIR --to FILE", Short: "Copy the recording while the daemon runs", Args: takes("", "data", "to")}
	data := c.Flags().String("data", "", "`DIR` of the recording, or a database file")
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
