package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq/instrument"
)

// exchange is one line of --json. Each exchange stands by itself: a value that
// an earlier one gave is no value of this one.
type exchange struct {
	Sent     spoken   `json:"sent"`
	Received spoken   `json:"received"`
	Number   *float64 `json:"number"` // on the wire
	Value    *float64 `json:"value"`  // in the quantity's unit
	Unit     string   `json:"unit"`
	Quality  string   `json:"quality"`
	Seconds  float64  `json:"seconds"`
	Error    *string  `json:"error"`
	Note     *string  `json:"note"`   // why there is no value though nothing is wrong, or what to make of a 0
	Others   []other  `json:"others"` // what else it may mean; empty where the value needs none

	raw      instrument.Exchange
	doubtful bool // there is a value, and it is not believable
}

// believable reports an exchange that gave what it was made for.
func (e *exchange) believable() bool { return e.Error == nil && !e.doubtful }

// spoken is bytes as a person reads them.
type spoken struct {
	Hex  string `json:"hex"`
	Text string `json:"text"`
}

func speak(b []byte) spoken { return spoken{Hex: instrument.Hex(b), Text: instrument.Text(b)} }

// judge says what an exchange was worth.
func (p *probing) judge(x instrument.Exchange) exchange {
	e := exchange{
		Sent: speak(x.Sent), Received: speak(x.Received), Unit: quantity.Table[p.in.ID].Unit,
		Seconds: x.Reading.Took.Seconds(), Others: []other{}, raw: x,
	}
	if x.Err == nil {
		e.Number = finite(x.Reading.Number)
	}
	if why := p.foreignJunction(); x.Err == nil && why != "" {
		e.Note, e.Quality = &why, "no value: "+why
		return e
	}
	p.channel.Take(x.Reading, nil)
	m := p.channel.At(x.Reading.At)
	if fault := p.channel.Fault(); fault != "" {
		e.Error, e.Quality = &fault, "bad: "+fault
		return e
	}
	e.Quality, e.Value = m.Quality.String(), finite(m.Value)
	switch {
	case e.Value == nil:
		why := "a rate needs two counts: ask for more with --count 3"
		e.Note, e.Quality = &why, "no value: "+why
	case belowRange(p.in, x.Reading.Number, m.Value):
		e.doubtful = true
	}
	return e
}

// foreignJunction says that the cold junction is another instrument's matter.
func (p *probing) foreignJunction() string {
	t := p.in.Thermocouple
	if t == nil || t.ColdJunction != nil {
		return ""
	}
	cold := t.From.Short()
	return fmt.Sprintf("its cold junction is measured by %s, which this probe does not ask; run computes the temperature from both, probe %s as well", cold, cold)
}

// finite is nil for what is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func (e exchange) encode(w io.Writer) { _ = json.NewEncoder(w).Encode(e) }

// print shows an exchange to a person.
func (p *probing) print(e exchange) {
	fmt.Fprintf(p.out, "%d  %s on %s (%s), %d Bd, %s\n", p.number, p.in.Name, p.port.Name, config.Printable(p.port.Device), p.port.Baud, p.port.Framing())
	p.bytes("sent", e.raw.Sent)
	p.bytes("received", e.raw.Received)
	if e.Number != nil {
		p.row("number", p.digits(*e.Number)+" on the wire")
	}
	p.row("took", config.Format(math.Round(e.Seconds*1e4)/1e4, config.Time))
	if e.Value != nil && e.Quality != "good" {
		p.row("quality", forPeople(e.Quality))
	}
	word, text, _ := strings.Cut(p.outcome(e), ": ")
	p.row(word, text)
	p.printOthers(e)
}

// outcome is an exchange in a few words: a value, a fault or a note.
func (p *probing) outcome(e exchange) string {
	switch {
	case e.Error != nil:
		return "fault: " + forPeople(*e.Error)
	case e.Note != nil:
		return "note: " + *e.Note
	}
	return "value: " + p.value(*e.Value)
}

// digits writes the number on the wire with as many digits as it has there.
func (p *probing) digits(v float64) string {
	bits := 64
	if p.in.Modbus != nil && p.in.Modbus.Type == config.Float32 {
		bits = 32
	}
	return strconv.FormatFloat(v, 'f', -1, bits)
}

func (p *probing) value(v float64) string {
	if p.in.Boolean() {
		return map[bool]string{true: "yes", false: "no"}[v != 0]
	}
	return forPeople(config.Format(v, config.DimensionOf(p.in.ID)))
}

// forPeople writes degrees as people do; machines read Cel.
func forPeople(text string) string { return strings.ReplaceAll(text, " Cel", " °C") }

// row shows one line of an exchange.
func (p *probing) row(name, text string) {
	fmt.Fprintf(p.out, "   %-9s %s\n", name, config.Printable(text))
}

// bytes shows bytes in hexadecimal and as text, sixteen a line.
func (p *probing) bytes(name string, b []byte) {
	if len(b) == 0 {
		p.row(name, "nothing")
	}
	for ; len(b) > 0; name = "" {
		n := min(16, len(b))
		p.row(name, fmt.Sprintf("%-47s  \"%s\"", instrument.Hex(b[:n]), instrument.Text(b[:n])))
		b = b[n:]
	}
}
