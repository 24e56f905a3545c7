package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq"
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
		plan, err := e.Plan()
		if err != nil {
			return wrongUse{err}
		}
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		count := 0
		write := func(w io.Writer) (err error) {
			count, err = r.Export(c.Context(), w, e)
			return err
		}
		if *out == "" {
			err = write(c.OutOrStdout())
		} else {
			err = exportTo(*out, e, plan, write)
		}
		if err != nil || count > 0 {
			return err
		}
		return sayNothing(c, r, e)
	}
	return c
}

func exportFlags(c *cobra.Command, e *record.Export) {
	f := c.Flags()
	f.Func("from", "first `TIME`, RFC 3339, such as 2026-03-02T09:00:00Z", instant(&e.From))
	f.Func("to", "`TIME` before which to end", instant(&e.To))
	f.Func("every", "the first row of each `DURATION`, such as \"10 s\"", length(&e.Form.Every))
	f.StringVar(&e.Form.Format, "format", "csv", "csv, json (an array), jsonl (an object a line) or parquet (Apache Parquet)")
	f.Func("columns", "`NAMES` of the columns to write, in that order: time,reynolds_number,flow", func(text string) error {
		e.Form.Columns = strings.Split(text, ",")
		return nil
	})
	f.Func("units", "`bench`: the page's units in place of SI", func(text string) error {
		if e.Form.Bench = text == "bench"; !e.Form.Bench && text != "si" {
			return errors.New("write bench, or si")
		}
		return nil
	})
	f.StringVar(&e.Form.Separator, "separator", ",", "`SIGN` between the cells of a CSV: "+strings.Join(table.Separators, " "))
	f.StringVar(&e.Form.Decimal, "decimal", ".", "decimal `SIGN` of a CSV: . or ,")
	f.Func("zone", "write the times of a CSV as a spreadsheet reads them, in the time `ZONE`: local, or a name such as Europe/Paris", zone(&e.Form.Zone))
}

// zone reads a name of the IANA's database.
func zone(to **time.Location) func(text string) error {
	return func(text string) (err error) {
		if *to = time.Local; text == "local" {
			return nil
		}
		if *to, err = time.LoadLocation(text); err != nil || text == "" || text == "Local" {
			return errors.New("no such time zone; write local, or a name of the IANA database such as Europe/Paris or UTC")
		}
		return nil
	}
}

// exportTo makes the new file, and beside a CSV its description. Where that fails
// neither stays.
func exportTo(path string, e record.Export, plan *table.Plan, write func(io.Writer) error) (err error) {
	describe := func(w io.Writer) error {
		text, err := plan.Describe(filepath.Base(path), e.What)
		if err == nil {
			_, err = w.Write(text)
		}
		return err
	}
	if _, err := os.Lstat(path); err == nil {
		return errThere(path)
	}
	if e.Form.Format == "csv" {
		if err := wholeFile(path+table.DescriptionSuffix, describe); err != nil {
			return err
		}
		defer func() {
			if err != nil {
				os.Remove(path + table.DescriptionSuffix)
			}
		}()
	}
	return wholeFile(path, write)
}

func errThere(path string) error {
	return fmt.Errorf("export: %s: exists already; name a new file", path)
}

// wholeFile writes a file that is not there yet, whole or not at all.
func wholeFile(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, os.ErrExist) {
		return errThere(path)
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	if err = errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		os.Remove(path)
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// sayNothing says that no record was there, and when there are some.
func sayNothing(c *cobra.Command, r *record.Reader, e record.Export) error {
	first, last, err := r.SpanOf(c.Context(), e.What)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("export: this recording has no %s", e.What)
	if !first.IsZero() {
		text = fmt.Sprintf("export: no %s in that time; the recording has some from %s to %s", e.What, daq.FormatTime(first), daq.FormatTime(last))
	}
	fmt.Fprintln(c.ErrOrStderr(), "flowrigd: "+text)
	return nil
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
