package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/record"
)

func replayVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "replay --data DIR",
		Short: "Play the recorded inputs through computation and alarms again",
		Long: "replay prints the state of every interval as one JSON line, from the start of each run,\n" +
			"under the recorded configurations or another one. Without --config it holds itself\n" +
			"against the digests that the live run stored each minute, and ends with 1 where the\n" +
			"same states did not come out: another build or another kind of machine may differ in\n" +
			"the last digits.",
	}
	data := c.Flags().String("data", "", "`DIR` of the recording")
	from := c.Flags().String("from", "", "first `TIME` to print, RFC 3339")
	to := c.Flags().String("to", "", "`TIME` before which to end")
	file := c.Flags().String("config", "", "`FILE` to play under in place of the recorded configurations")
	required(c, "data")
	c.RunE = func(c *cobra.Command, _ []string) error {
		r, err := record.OpenReader(*data)
		if err != nil {
			return err
		}
		defer r.Close()
		out := bufio.NewWriter(c.OutOrStdout())
		defer out.Flush()
		p := &player{r: r, out: out, diag: c.ErrOrStderr()}
		if p.from, err = instant("--from", *from); err != nil {
			return err
		}
		if p.to, err = instant("--to", *to); err != nil {
			return err
		}
		if *file != "" {
			if p.under, err = load(c.ErrOrStderr(), *file); err != nil {
				return err
			}
		}
		return p.all(c.Context())
	}
	return c
}

// player plays recorded inputs.
type player struct {
	r        *record.Reader
	out      io.Writer
	diag     io.Writer
	from, to time.Time      // zero: no bound
	under    *config.Config // nil: as recorded

	engine  *daq.Engine
	whose   daq.Identity
	digest  *daq.Digest
	stored  map[uint64]string
	checked int
	differ  int
	line    []byte
}

// all plays the runs that reach into the time asked for.
func (p *player) all(ctx context.Context) error {
	runs, err := p.r.Runs(ctx)
	if err != nil {
		return err
	}
	for i, run := range runs {
		ended := i+1 < len(runs) && !p.from.IsZero() && runs[i+1].Began.Before(p.from)
		if ended || run.Inputs == 0 || !p.to.IsZero() && !run.Began.Before(p.to) {
			continue
		}
		if err := p.run(ctx, run); err != nil {
			return fmt.Errorf("replay: run %d: %w", run.Number, err)
		}
	}
	fmt.Fprintf(p.diag, "replay: %d digests of the live run checked, %d differ\n", p.checked, p.differ)
	if p.differ > 0 {
		return fmt.Errorf("replay: the states differ from those of the live run")
	}
	return nil
}

// run plays one run from its start.
func (p *player) run(ctx context.Context, run record.Run) (err error) {
	if run.First != 1 {
		fmt.Fprintf(p.diag, "replay: run %d: its first inputs are purged: it cannot be played\n", run.Number)
		return nil
	}
	p.digest = daq.NewDigest()
	if p.stored, err = p.r.Digests(ctx, run.Number); err != nil {
		return err
	}
	for in, err := range p.r.Inputs(ctx, run.Number, 1) {
		if err != nil {
			return err
		}
		if err := p.step(ctx, in); err != nil {
			return err
		}
		if !p.to.IsZero() && !in.Wall.Before(p.to) {
			return nil
		}
	}
	return nil
}

func (p *player) step(ctx context.Context, in daq.Input) error {
	if in.Start != nil {
		if err := p.begin(ctx, &in); err != nil {
			return err
		}
	}
	state, _ := p.engine.Step(in)
	p.check(&state)
	if !state.Tick || in.Wall.Before(p.from) {
		return nil
	}
	p.line = append(daq.AppendState(p.line[:0], &state, p.whose), '\n')
	_, err := p.out.Write(p.line)
	return err
}

// begin takes up the configuration of a start or a reload.
func (p *player) begin(ctx context.Context, in *daq.Input) error {
	cfg := p.under
	if cfg == nil {
		text, err := p.r.Configuration(ctx, in.Start.Configuration)
		if err != nil {
			return err
		}
		var problems []config.Problem
		if cfg, problems = config.Parse("recorded.toml", []byte(text)); cfg == nil {
			return fmt.Errorf("the recorded configuration %s is not right for this build: %s", in.Start.Configuration, problems[0])
		}
	}
	in.Start.Config = cfg
	p.whose = daq.Identity{Site: cfg.Site, Rig: cfg.Rig, Recording: p.r.Recording()}
	if in.Kind != daq.KindStart {
		return nil
	}
	var err error
	p.engine, err = daq.NewEngine(cfg, in.Start.Alarms)
	return err
}

// check holds a state's digest against that of the live run.
func (p *player) check(s *daq.State) {
	got := p.digest.Add(s)
	want := p.stored[s.Input]
	if got == "" || want == "" || p.under != nil {
		return
	}
	p.checked++
	if got != want {
		p.differ++
		fmt.Fprintf(p.diag, "replay: input %d at %s: the states up to here differ from those of the live run\n", s.Input, daq.FormatTime(s.Time))
	}
}
