package main

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/instrument"
)

func probeVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe --config FILE INSTRUMENT",
		Short: "Talk to one instrument and show the bytes, the value, the timing, the fault",
		Long: "probe talks to one instrument of the configuration, by its name there (flow, temperature,\n" +
			"level, …), while no daemon has the line. It ends with 1 when no exchange was clean.",
		Args: cobra.ExactArgs(1),
	}
	file := c.Flags().String("config", "", "configuration `FILE`")
	count := c.Flags().Int("count", 1, "how many exchanges")
	asJSON := c.Flags().Bool("json", false, "one JSON object a line for each exchange")
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
		p := probing{out: c.OutOrStdout(), in: *in, port: *port, channel: daq.NewChannel(*in), asJSON: *asJSON}
		if err := instrument.Probe(c.Context(), *port, *in, nil, *count, p.show); err != nil {
			return err
		}
		if p.clean == 0 {
			return errors.New("probe: no exchange was clean")
		}
		return nil
	}
	return c
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
	channel *daq.Channel
	asJSON  bool
	number  int
	clean   int
}

// spoken is bytes as a person reads them.
type spoken struct {
	Hex  string `json:"hex"`
	Text string `json:"text"`
}

func speak(b []byte) spoken {
	quoted := strconv.QuoteToASCII(string(b))
	return spoken{Hex: strings.TrimSpace(spaced(hex.EncodeToString(b))), Text: quoted[1 : len(quoted)-1]}
}

// spaced parts hexadecimal digits into bytes.
func spaced(digits string) string {
	var b strings.Builder
	for i := 0; i+1 < len(digits); i += 2 {
		b.WriteString(digits[i:i+2] + " ")
	}
	return b.String()
}

// exchange is one line of --json.
type exchange struct {
	Sent     spoken   `json:"sent"`
	Received spoken   `json:"received"`
	Number   *float64 `json:"number"` // on the wire
	Value    *float64 `json:"value"`  // in the quantity's unit
	Unit     string   `json:"unit"`
	Quality  string   `json:"quality"`
	Seconds  float64  `json:"seconds"`
	Error    *string  `json:"error"`
}

func (p *probing) show(x instrument.Exchange) {
	p.number++
	p.channel.Take(x.Reading, nil)
	m := p.channel.At(x.Reading.At)
	e := exchange{
		Sent: speak(x.Sent), Received: speak(x.Received), Unit: quantity.Table[p.in.ID].Unit,
		Quality: m.Quality.String(), Seconds: x.Reading.Took.Seconds(), Value: finite(m.Value),
	}
	if x.Err == nil {
		p.clean++
		e.Number = finite(x.Reading.Number)
	} else {
		text := x.Err.Error()
		e.Error, e.Value = &text, nil
	}
	if p.asJSON {
		_ = json.NewEncoder(p.out).Encode(e)
		return
	}
	p.print(e)
}

// finite is nil for what is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func (p *probing) print(e exchange) {
	fmt.Fprintf(p.out, "%d  %s on %s (%s)\n", p.number, p.in.Name, p.port.Name, p.port.Device)
	fmt.Fprintf(p.out, "   sent      %-40s  %s\n", e.Sent.Hex, e.Sent.Text)
	fmt.Fprintf(p.out, "   received  %-40s  %s\n", e.Received.Hex, e.Received.Text)
	if e.Number != nil {
		fmt.Fprintf(p.out, "   number    %v on the wire\n", *e.Number)
	}
	if e.Value != nil {
		fmt.Fprintf(p.out, "   value     %s\n", config.Format(*e.Value, config.DimensionOf(p.in.ID)))
	}
	fmt.Fprintf(p.out, "   quality   %s\n", e.Quality)
	fmt.Fprintf(p.out, "   took      %.1f ms\n", time.Duration(e.Seconds*float64(time.Second)).Seconds()*1000)
	if e.Error != nil {
		fmt.Fprintf(p.out, "   fault     %s\n", *e.Error)
	}
}
