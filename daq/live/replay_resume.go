package live

import (
	"context"
	"fmt"
	"slices"

	"flowrigd/daq"
	"flowrigd/daq/engine"
)

// resume lets the run go on from its newest checkpoint before the time asked for, which
// only the program that made it can read. Where there is none the run begins at its
// start; where that is purged, at its oldest checkpoint.
func (p *Replay) resume(ctx context.Context, run daq.Run) {
	if p.Under != nil || run.Build == "" || run.Build != p.Build {
		return
	}
	list, err := p.From.Checkpoints(ctx, run.Number)
	if err != nil {
		fmt.Fprintf(p.Say, "replay: run %d: checkpoints: %v\n", run.Number, err)
	}
	for _, c := range p.fitting(list, run) {
		if err := p.take(ctx, run, c); err != nil {
			fmt.Fprintf(p.Say, "replay: run %d: the checkpoint of %s is passed over: %v\n", run.Number, daq.FormatTime(c.Time), err)
			continue
		}
		if !c.Time.Before(p.Begin) {
			fmt.Fprintf(p.Say, "replay: run %d: its first inputs are purged: it is played from the checkpoint of %s on\n", run.Number, daq.FormatTime(c.Time))
		}
		return
	}
}

// fitting are the checkpoints to try, the best first.
func (p *Replay) fitting(list []daq.Checkpoint, run daq.Run) (fit []daq.Checkpoint) {
	var later []daq.Checkpoint
	for _, c := range list {
		switch {
		case int64(c.Number)+1 < run.First: // what came behind it is purged
		case c.Time.Before(p.Begin): // its own state is printed of none
			fit = append(fit, c)
		case run.First != 1:
			later = append(later, c)
		}
	}
	slices.Reverse(fit)
	return append(fit, later...)
}

func (p *Replay) take(ctx context.Context, run daq.Run, c daq.Checkpoint) error {
	state, err := p.From.CheckpointState(ctx, run.Number, c.Number)
	if err != nil {
		return err
	}
	cfg, err := p.configuration(ctx, c.Configuration)
	if err != nil {
		return err
	}
	e, digest, err := engine.Resume(cfg, state)
	if err != nil {
		return err
	}
	p.of.engine, p.of.digest, p.of.expect = e, digest, c.Number+1
	return nil
}
