package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/engine"
	"flowrigd/daq/record"
)

func replayVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "replay --data DIR",
		Short: "Play the recorded inputs through computation and alarms again",
		Long: "replay prints the state of every interval as one JSON line, from the start of each run,\n" +
			"under the recorded configurations or another one. Without --config it compares\n" +
			"with the digests that the live run stored each minute, and exits with 1 on a\n" +
			"difference: another build or another kind of machine may differ in\n" +
			"the last digits. Inputs that are not in the recording are named: what comes after them\n" +
			"is computed without them and compared with nothing, up to the end of that run, and\n" +
			"replay exits with 1. A run whose first inputs have been purged is not played.",
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
		p := &player{r: r, out: bufio.NewWriter(c.OutOrStdout()), diag: c.ErrOrStderr()}
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
		return errors.Join(p.all(c.Context()), p.out.Flush())
	}
	return c
}

// player plays recorded inputs.
type player struct {
	r        *record.Reader
	out      *bufio.Writer
	diag     io.Writer
	from, to time.Time      // zero: no bound
	under    *config.Config // nil: as recorded

	played  int // runs
	lacking int // runs that are not in the recording as a whole
	checked int // digests
	differ  int

	engine  *engine.Engine // of this run
	whose   daq.Identity
	digest  *engine.Digest
	stored  map[uint64]string
	expect  uint64 // the number of the next input
	missing hole
	line    []byte
}

// hole is what a run lacks.
type hole struct {
	inputs      uint64
	first, last uint64    // of the first stretch
	at          time.Time // of the input behind it
}

// all plays the runs that reach into the time asked for. What is wrong with
// one keeps no other from being played.
func (p *player) all(ctx context.Context) error {
	runs, err := p.r.Runs(ctx)
	if err != nil {
		return err
	}
	purged := 0
	for i, run := range runs {
		ended := i+1 < len(runs) && !p.from.IsZero() && runs[i+1].Began.Before(p.from)
		if ended || run.Inputs == 0 || !p.to.IsZero() && !run.Began.Before(p.to) {
			continue
		}
		if run.First != 1 {
			purged++
			fmt.Fprintf(p.diag, "replay: run %d: its first inputs are purged: it cannot be played\n", run.Number)
			continue
		}
		p.played++
		if err := p.run(ctx, run); err != nil {
			if broken := errors.Join(ctx.Err(), p.out.Flush()); broken != nil {
				return fmt.Errorf("replay: %w", broken)
			}
			p.lacking++
			fmt.Fprintf(p.diag, "replay: run %d: not played to its end: %v\n", run.Number, err)
		}
	}
	fmt.Fprintf(p.diag, "replay: %d digests of the live run checked, %d differ\n", p.checked, p.differ)
	return p.verdict(purged)
}

// verdict is nil where all that was asked for was played and is the live run's.
func (p *player) verdict(purged int) error {
	switch {
	case p.differ > 0:
		return errors.New("replay: the states differ from those of the live run")
	case p.lacking > 0:
		return fmt.Errorf("replay: %d of %d runs are not whole in this recording: see above", p.lacking, p.played)
	case p.played == 0 && purged > 0:
		return errors.New("replay: nothing was played: no run of that time has its first inputs still; keep them longer by record.keep_inputs")
	}
	return nil
}

// run plays one run from its start.
func (p *player) run(ctx context.Context, run record.Run) (err error) {
	p.engine, p.digest, p.expect, p.missing = nil, engine.NewDigest(), 1, hole{}
	if p.stored, err = p.r.Digests(ctx, run.Number); err != nil {
		return err
	}
	defer p.tellHole(run.Number)
	for in, err := range p.r.Inputs(ctx, run.Number, 1) {
		if err != nil {
			return err
		}
		p.number(&in)
		if err := p.step(ctx, in); err != nil {
			return err
		}
		if !p.to.IsZero() && !in.Wall.Before(p.to) {
			return nil
		}
	}
	return nil
}

// number sees by an input's number what is not in the recording before it.
func (p *player) number(in *daq.Input) {
	if n := in.Number - p.expect; n > 0 {
		if p.missing.inputs == 0 {
			p.missing = hole{first: p.expect, last: in.Number - 1, at: in.Wall}
		}
		p.missing.inputs += n
	}
	p.expect = in.Number + 1
}

func (p *player) tellHole(run int64) {
	h := p.missing
	if h.inputs == 0 {
		return
	}
	p.lacking++
	why := "the disk did not take them"
	if h.first == 2 {
		why = "the recording was opened later than the run began"
	}
	more := ""
	if rest := h.inputs - (h.last - h.first + 1); rest > 0 {
		more = fmt.Sprintf(", nor are %d later ones", rest)
	}
	fmt.Fprintf(p.diag, "replay: run %d: inputs %d to %d, before %s, are not in the recording%s: %s; from there to the end of the run the states are computed without them and cannot be compared\n",
		run, h.first, h.last, daq.FormatTime(h.at), more, why)
}

func (p *player) step(ctx context.Context, in daq.Input) error {
	if in.Start != nil {
		if err := p.begin(ctx, &in); err != nil {
			return err
		}
	}
	if p.engine == nil {
		return fmt.Errorf("input %d: there is no start before it", in.Number)
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
	p.engine, err = engine.New(cfg, in.Start.Alarms)
	return err
}

// check holds a state's digest against that of the live run.
func (p *player) check(s *daq.State) {
	got := p.digest.Add(s)
	want := p.stored[s.Input]
	if got == "" || want == "" || p.under != nil || p.missing.inputs > 0 {
		return
	}
	p.checked++
	if got != want {
		p.differ++
		fmt.Fprintf(p.diag, "replay: input %d at %s: the states up to here differ from those of the live run\n", s.Input, daq.FormatTime(s.Time))
	}
}
