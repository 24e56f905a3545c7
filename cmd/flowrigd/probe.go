package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq/channel"
	"flowrigd/daq/instrument"
)

func probeVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe --config FILE INSTRUMENT",
		Short: "Talk to one instrument and show the bytes, the value, the timing, the fault",
		Long: "probe talks to one instrument of the configuration, by its name there (flow, temperature,\n" +
			"level, …), while no daemon has the line. It ends with 1 when no exchange gave a\n" +
			"believable value, and shows what the same bytes mean in other orders of words and bytes, and\n" +
			"what stands in the other table and one register up and down. It only reads.\n" +
			"--log keeps what went over the line in a file of text, for a report or a test.",
		Args: oneWord("the INSTRUMENT, by its name in the configuration,"),
	}
	file := c.Flags().String("config", "", "configuration `FILE`")
	count := c.Flags().Int("count", 1, "how many exchanges")
	asJSON := c.Flags().Bool("json", false, "one JSON object a line for each exchange")
	look := c.Flags().Bool("search", false, "where it is silent, look for it on the other ports, at other rates, framings and addresses")
	searching := c.Flags().String("search-time", "3 min", "how long --search may take, at most")
	log := c.Flags().String("log", "", "write what goes over the line to a new `FILE`")
	required(c, "config")
	c.RunE = func(c *cobra.Command, args []string) error {
		if *count < 1 {
			return wrongUse{fmt.Errorf("probe: --count %d: write 1 or more", *count)}
		}
		cfg, err := load(c.ErrOrStderr(), *file)
		if err != nil {
			return err
		}
		in, port, err := named(cfg, args[0])
		if err != nil {
			return err
		}
		limit, err := searchTime(*searching)
		if err != nil {
			return err
		}
		p := &probing{out: c.OutOrStdout(), in: *in, port: *port, channel: channel.New(*in), asJSON: *asJSON}
		err = p.run(c.Context(), *count, *log, func() {
			if *look && p.answered == 0 {
				p.search(c.Context(), cfg, limit, c.ErrOrStderr())
			}
		})
		return p.advise(err, *look)
	}
	return c
}

// advise adds to the error of a probe that heard nothing what to try next.
func (p *probing) advise(err error, looked bool) error {
	if err == nil || looked || p.answered > 0 || p.number == 0 {
		return err
	}
	return fmt.Errorf("%w; --search looks for it elsewhere", err)
}

// searched are the lines of a configuration that a search may open, that one
// first. A search opens a line many times, and each opening raises RTS and DTR:
// where one of them is the permit's, that is the train of pulses which permits
// heating. It is "" or the port that is left out for it.
func searched(cfg *config.Config, name string) (lines []config.Port, leftOut string) {
	if t := cfg.Trip; t != nil && t.Pulse != config.NoPulse {
		leftOut = t.Port
	}
	for _, p := range cfg.Ports {
		switch {
		case p.Name == leftOut:
		case p.Name == name:
			lines = slices.Insert(lines, 0, p)
		default:
			lines = append(lines, p)
		}
	}
	return lines, leftOut
}

// named finds an instrument of a configuration with its port.
func named(cfg *config.Config, name string) (*config.Instrument, *config.Port, error) {
	if id, ok := quantity.ByShort(name); ok {
		if in := cfg.Instrument(id); in != nil {
			return in, cfg.Port(in.Port), nil
		}
	}
	var known []string
	for _, in := range cfg.Instruments {
		known = append(known, in.Name)
	}
	return nil, nil, wrongUse{fmt.Errorf("probe: %s: no instrument of that name in the configuration; it has %s", name, strings.Join(known, ", "))}
}

// probing shows exchanges as they come.
type probing struct {
	out     io.Writer
	in      config.Instrument
	port    config.Port
	channel *channel.Channel
	log     *instrument.LineLog // nil: none
	asJSON  bool
	number  int
	clean   int // exchanges with something to believe
	valued  int // exchanges with a value that is not believable

	elsewhere bool // another reading is believable

	answered int               // exchanges in which anything understandable came
	open     instrument.Opener // nil: of the system
}

// run probes, with a log in the file of that name unless it is "", and does
// then whatever is to be done with the line free again.
func (p *probing) run(ctx context.Context, count int, file string, then func()) (err error) {
	if file != "" {
		f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, os.ErrExist) {
			return wrongUse{fmt.Errorf("probe: --log %s: the file is there already; write the name of a new one", file)}
		}
		if err != nil {
			return fmt.Errorf("probe: log: %w", err)
		}
		p.log = instrument.NewLineLog(f, p.port, p.in)
		p.open = p.log.Open(nil)
		defer func() { err = errors.Join(err, p.log.Err(), f.Close()) }()
	}
	if err := instrument.Probe(ctx, p.port, p.in, p.open, count, func(prober *instrument.Prober, x instrument.Exchange) { p.show(ctx, prober, x) }); err != nil {
		return err
	}
	then()
	return p.verdict()
}

// verdict is the error of a probe that gave nothing to believe.
func (p *probing) verdict() error {
	switch {
	case p.clean > 0:
		return nil
	case p.valued > 0:
		return errors.New("probe: no value is believable; see what else the bytes can mean, and probe with water running")
	}
	if p.elsewhere {
		return errors.New("probe: no exchange was clean, but another reading is believable: see the lines that begin with or")
	}
	return errors.New("probe: no exchange was clean")
}

// show takes one exchange, and looks around where it gave nothing to believe or
// a plain 0, which a register beside the right one gives as well.
func (p *probing) show(ctx context.Context, prober *instrument.Prober, x instrument.Exchange) {
	p.number++
	if instrument.Answers(x) {
		p.answered++
	}
	e := p.judge(x)
	if e.believable() {
		p.clean++
	} else if e.Error == nil || x.Data != nil {
		p.valued++
	}
	if zero := e.Value != nil && x.Reading.Number == 0 && !p.in.Boolean(); zero || !e.believable() {
		e.Others = append(e.Others, p.others(ctx, prober, x)...)
		p.elsewhere = p.elsewhere || slices.ContainsFunc(e.Others, func(o other) bool { return o.Believable })
	}
	if p.log != nil {
		p.log.Note(fmt.Sprintf("%d: %s", p.number, p.outcome(e)))
	}
	if p.asJSON {
		e.encode(p.out)
		return
	}
	p.print(e)
}
