package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"

	"flowrigd/config"
	"flowrigd/daq/instrument"
)

// The bounds of a search.
const (
	leastSearch   = time.Second
	longestSearch = 2 * time.Hour
)

// searchTime reads how long a search may take.
func searchTime(text string) (time.Duration, error) {
	v, err := config.ParseQuantity(text, config.Time)
	if err != nil {
		return 0, wrongUse{fmt.Errorf("probe: --search-time %w", err)}
	}
	d := time.Duration(v.X * float64(time.Second))
	if d < leastSearch || d > longestSearch {
		return 0, wrongUse{fmt.Errorf(`probe: --search-time %s: out of range; write a time from 1 s to 2 h, such as "30 min"`, strconv.Quote(text))}
	}
	return d, nil
}

// answer is a line of --json for what a search has found.
type answer struct {
	Found   bool    `json:"found"` // tells it from an exchange
	Port    string  `json:"port"`
	Device  string  `json:"device"`
	Baud    int     `json:"baud"`
	Framing string  `json:"framing"`
	Address *int    `json:"address"` // null for text
	Sent    spoken  `json:"sent"`
	Heard   spoken  `json:"received"`
	Error   *string `json:"error"`
}

// search looks for a silent instrument, for that long at most, and says first
// what it will send.
func (p *probing) search(ctx context.Context, cfg *config.Config, limit time.Duration, log io.Writer) {
	lines, leftOut := searched(cfg, p.port.Name)
	if leftOut == p.port.Name {
		fmt.Fprintf(log, "probe: no search on ports.%s: each opening pulses its RTS and DTR, which permits heating; unplug the permit's relay from it, and search with a copy of the file without [trip]\n", leftOut)
		return
	}
	if leftOut != "" {
		fmt.Fprintf(log, "probe: ports.%s is left out: each opening pulses its RTS and DTR, which permits heating\n", leftOut)
	}
	fmt.Fprintf(log, "probe: %s gives no answer that can be read; searching for up to %s, %s. It only reads, and writes nothing to any device.\n", p.in.Name, config.Format(limit.Seconds(), config.Time), p.asks(len(lines) > 1))
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	found := 0
	left := instrument.Search(ctx, lines, p.in, p.open, func(a instrument.Answer) {
		found++
		p.tellAnswer(a)
	})
	switch {
	case left != "":
		fmt.Fprintf(log, "probe: the time is over; not asked: %s; give it longer with --search-time %q\n", left, "30 min")
	case found == 0:
		fmt.Fprintln(log, "probe: nothing answers; check power, plugs, A and B, and that no other program talks on the line")
	}
}

// asks says what a search sends.
func (p *probing) asks(others bool) string {
	where := "at other rates and framings"
	if others {
		where = "on the other ports of the configuration, then " + where
	}
	switch in := p.in; {
	case in.Modbus != nil:
		return fmt.Sprintf("with the request to read %s register %d, %s, then under the addresses 1 to 247", tableWords[in.Modbus.Table], in.Modbus.Register, where)
	case in.Query != nil:
		return fmt.Sprintf("with the question %q, %s", in.Query.Send, where)
	}
	return "sending nothing and listening " + where
}

func (p *probing) tellAnswer(a instrument.Answer) {
	text := "it answers"
	var address *int
	if a.Address > 0 {
		n := int(a.Address)
		address, text = &n, fmt.Sprintf("address %d answers", n)
	}
	_, fault := valueOf(p.in, a.Reading)
	if p.asJSON {
		out := answer{Found: true, Port: a.Port.Name, Device: a.Port.Device, Baud: a.Port.Baud, Framing: a.Port.Framing(), Address: address, Sent: speak(a.Sent), Heard: speak(a.Received)}
		if fault != "" {
			out.Error = &fault
		}
		_ = json.NewEncoder(p.out).Encode(out)
		return
	}
	said := p.valueText(a)
	if fault != "" {
		said = short(fault)
	}
	line := fmt.Sprintf("%s at %d Bd, %s on %s (%s): %s", text, a.Port.Baud, a.Port.Framing(), a.Port.Name, a.Port.Device, said)
	if a.Port.Name != p.port.Name {
		line += fmt.Sprintf("; that is ports.%s: swap the plugs, or write port = %q", a.Port.Name, a.Port.Name)
	}
	p.row("found", line)
}

// valueText is what a found instrument sends, in its unit.
func (p *probing) valueText(a instrument.Answer) string {
	m, _ := valueOf(p.in, a.Reading)
	if v := finite(m.Value); v != nil {
		return p.value(*v)
	}
	return p.digits(a.Reading.Number) + " on the wire"
}
