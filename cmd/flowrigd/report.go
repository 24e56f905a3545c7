package main

import (
	"bytes"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/daq/build"
	"flowrigd/daq/record"
	"flowrigd/daq/report"
)

func reportVerb() *cobra.Command {
	c := &cobra.Command{Use: "report --data DIR --out FILE.html", Short: "Write the report of an experiment, or of the whole recording, for print and screen", Args: takes("", "data", "out")}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	out := c.Flags().String("out", "", "`FILE` of the report; it must not exist yet")
	ask := report.Request{Made: time.Now(), Program: build.This().Version}
	c.Flags().StringVar(&ask.Experiment, "experiment", "", "`ID` of the experiment; without it the whole recording")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		made, err := report.Load(c.Context(), r, ask)
		if err != nil {
			return err
		}
		var page bytes.Buffer
		if err := made.Write(&page); err != nil {
			return err
		}
		return report.Create(*out, page.Bytes())
	}
	return c
}
