package main

import (
	"bytes"
	"context"
	"errors"
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
	experiment := c.Flags().String("experiment", "", "`ID` of the experiment; without it the whole recording")
	c.RunE = func(c *cobra.Command, _ []string) error {
		page, _, err := makeReport(c.Context(), *data, *experiment, time.Now())
		if err != nil {
			return err
		}
		return report.Create(*out, page)
	}
	return c
}

// makeReport reads the recording as any other reader does; known is false where there
// is nothing of which to make the report.
func makeReport(ctx context.Context, data, experiment string, now time.Time) (page []byte, known bool, err error) {
	r, err := record.OpenReader(data)
	if err != nil {
		return nil, true, err
	}
	defer r.Close()
	made, err := report.Load(ctx, r, report.Request{Experiment: experiment, Made: now, Program: build.This().Version})
	if err != nil {
		return nil, !errors.Is(err, report.ErrNothing), err
	}
	var b bytes.Buffer
	err = made.Write(&b)
	return b.Bytes(), true, err
}
