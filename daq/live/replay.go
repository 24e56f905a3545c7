package live

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/engine"
)

// Recorded is what a replay reads: a recording's runs with their inputs, the digests
// that the live run stored by the number of their last input, and its configurations
// by SHA-256.
type Recorded interface {
	Runs(context.Context) ([]daq.Run, error)
	Inputs(ctx context.Context, run int64, from uint64) iter.Seq2[daq.Input, error]
	Digests(ctx context.Context, run int64) (map[uint64]string, error)
	Checkpoints(ctx context.Context, run int64) ([]daq.Checkpoint, error)
	CheckpointState(ctx context.Context, run int64, number uint64) ([]byte, error)
	Configuration(ctx context.Context, sha string) (string, error)
	Rows(ctx context.Context, from, to time.Time) iter.Seq2[daq.Row, error]
	Has(quantity.ID) bool // whether its rows have the quantity
}

// Replay plays recorded inputs through the engine again.
//
//	recorded inputs → Engine.Step → states, a JSON line each → digests beside those of the live run
//	                                                         → or, of another build, values beside the recorded rows
type Replay struct {
	From       Recorded
	Recording  string         // its UUID
	Build      string         // this program; another one's digests say nothing
	Begin, End time.Time      // of what is printed; zero: no bound
	Under      *config.Config // nil: as recorded
	Out        io.Writer      // hears the states
	Say        io.Writer      // hears what is wrong with the recording

	played  int // runs
	lacking int // runs that are not in the recording as a whole
	checked int // digests
	differ  int
	out     *bufio.Writer
	line    []byte
	of      replayed
}

// replayed is the run that is played.
type replayed struct {
	number  int64
	engine  *engine.Engine
	whose   daq.Identity
	digest  *engine.Digest
	stored  map[uint64]string
	expect  uint64 // the number of the next input
	missing hole
	other   *comparison // with what another build recorded; nil: digests are compared
}

// hole is what a run lacks.
type hole struct {
	inputs      uint64
	first, last uint64    // of the first stretch
	at          time.Time // of the input behind it
	why         string    // "" where nothing says so
}

// Run plays the runs that reach into the time asked for. What is wrong with one
// keeps no other from being played. The error says that the states are not those
// of the live run, or not all there.
func (p *Replay) Run(ctx context.Context) (err error) {
	p.out = bufio.NewWriter(p.Out)
	defer func() { err = errors.Join(err, p.out.Flush()) }()
	runs, err := p.From.Runs(ctx)
	if err != nil {
		return err
	}
	purged := 0
	for i, run := range runs {
		ended := i+1 < len(runs) && !p.Begin.IsZero() && runs[i+1].Began.Before(p.Begin)
		if ended || run.Inputs == 0 || !p.End.IsZero() && !run.Began.Before(p.End) {
			continue
		}
		p.of = replayed{number: run.Number, digest: engine.NewDigest(), expect: 1}
		p.resume(ctx, run)
		if run.First != 1 && p.of.engine == nil {
			purged++
			fmt.Fprintf(p.Say, "replay: run %d: its first inputs are purged: it cannot be played\n", run.Number)
			continue
		}
		p.played++
		var until time.Time
		if i+1 < len(runs) {
			until = runs[i+1].Began
		}
		if err := p.run(ctx, run, until); err != nil {
			if broken := errors.Join(ctx.Err(), p.out.Flush()); broken != nil {
				return fmt.Errorf("replay: %w", broken)
			}
			p.lacking++
			fmt.Fprintf(p.Say, "replay: run %d: not played to its end: %v\n", run.Number, err)
		}
	}
	fmt.Fprintf(p.Say, "replay: %d digests of the live run checked, %d differ\n", p.checked, p.differ)
	return p.verdict(purged)
}

// verdict is nil where all that was asked for was played and is the live run's.
func (p *Replay) verdict(purged int) error {
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

func (p *Replay) run(ctx context.Context, run daq.Run, until time.Time) (err error) {
	if p.of.stored, err = p.From.Digests(ctx, run.Number); err != nil {
		return err
	}
	if p.Under == nil && (run.Build == "" || run.Build != p.Build) {
		p.of.other = compareWith(ctx, p.From, run, until)
		defer func() { p.of.other.say(p.Say, run) }()
	}
	defer p.tellHole()
	for in, err := range p.From.Inputs(ctx, run.Number, p.of.expect) {
		if lost := (*daq.LostInputs)(nil); errors.As(err, &lost) {
			p.of.missing.why = "they cannot be read: see above"
			fmt.Fprintf(p.Say, "replay: run %d: %v\n", run.Number, err)
			continue
		}
		if err != nil {
			return err
		}
		p.number(&in)
		if err := p.step(ctx, in); err != nil {
			return err
		}
		if !p.End.IsZero() && !in.Wall.Before(p.End) {
			return nil
		}
	}
	return nil
}

// number sees by an input's number what is not in the recording before it.
func (p *Replay) number(in *daq.Input) {
	if n := in.Number - p.of.expect; n > 0 {
		if p.of.missing.inputs == 0 {
			p.of.missing = hole{first: p.of.expect, last: in.Number - 1, at: in.Wall, why: p.of.missing.why}
		}
		p.of.missing.inputs += n
	}
	p.of.expect = in.Number + 1
}

func (p *Replay) tellHole() {
	h := p.of.missing
	if h.inputs == 0 {
		return
	}
	p.lacking++
	why := "the disk did not take them"
	if h.first == 2 {
		why = "the recording was opened later than the run began"
	}
	why = cmp.Or(h.why, why)
	more := ""
	if rest := h.inputs - (h.last - h.first + 1); rest > 0 {
		more = fmt.Sprintf(", nor are %d later ones", rest)
	}
	fmt.Fprintf(p.Say, "replay: run %d: inputs %d to %d, before %s, are not in the recording%s: %s; from there to the end of the run the states are computed without them and cannot be compared\n",
		p.of.number, h.first, h.last, daq.FormatTime(h.at), more, why)
}

func (p *Replay) step(ctx context.Context, in daq.Input) error {
	if in.Start != nil {
		if err := p.begin(ctx, &in); err != nil {
			return err
		}
	}
	if p.of.engine == nil {
		return fmt.Errorf("input %d: there is no start before it", in.Number)
	}
	state, _ := p.of.engine.Step(in)
	if err := p.check(&state); err != nil {
		return err
	}
	if !state.Tick || in.Wall.Before(p.Begin) {
		return nil
	}
	p.line = append(daq.AppendState(p.line[:0], &state, p.of.whose), '\n')
	_, err := p.out.Write(p.line)
	return err
}

// begin takes up the configuration of a start or a reload.
func (p *Replay) begin(ctx context.Context, in *daq.Input) error {
	cfg, err := p.configuration(ctx, in.Start.Configuration)
	if err != nil {
		return err
	}
	in.Start.Config = cfg
	if in.Kind != daq.KindStart {
		return nil
	}
	p.of.engine, err = engine.New(cfg, in.Start.Alarms)
	return err
}

// configuration takes up a recorded configuration, or the one to play under.
func (p *Replay) configuration(ctx context.Context, sha string) (*config.Config, error) {
	cfg := p.Under
	if cfg == nil {
		text, err := p.From.Configuration(ctx, sha)
		if err != nil {
			return nil, err
		}
		var problems []config.Problem
		if cfg, problems = config.Parse("recorded.toml", []byte(text)); cfg == nil {
			return nil, fmt.Errorf("the recorded configuration %s is not right for this build: %s", sha, problems[0])
		}
	}
	p.of.whose = daq.Identity{Site: cfg.Site, Rig: cfg.Rig, Recording: p.Recording}
	return cfg, nil
}

// check holds a state's digest against that of the live run, or what it says against
// what another build has recorded.
func (p *Replay) check(s *daq.State) error {
	if p.of.other != nil && p.of.missing.inputs == 0 {
		return p.of.other.see(s)
	}
	got := p.of.digest.Add(s)
	want := p.of.stored[s.Input]
	if got == "" || want == "" || p.Under != nil || p.of.missing.inputs > 0 {
		return nil
	}
	p.checked++
	if got != want {
		p.differ++
		fmt.Fprintf(p.Say, "replay: input %d at %s: the states up to here differ from those of the live run\n", s.Input, daq.FormatTime(s.Time))
	}
	return nil
}
