package instrument

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"flowrigd/config"
)

// spoken is bytes as a person reads them.
type spoken []byte

// MarshalJSON writes them in hexadecimal and as text.
func (b spoken) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Hex  string `json:"hex"`
		Text string `json:"text"`
	}{hexOf(b), textOf(b)})
}

func (p *Probing) encode(line any) { _ = json.NewEncoder(p.Out).Encode(line) }

func (p *Probing) print(x exchange) {
	fmt.Fprintf(p.Out, "%d  %s on %s (%s), %d Bd, %s\n", p.number, p.Instrument.Name, p.port.Name, config.Printable(p.port.Device), p.port.Baud, p.port.Framing())
	p.bytes("sent", x.Sent)
	p.bytes("received", x.Received)
	if x.Number != nil {
		p.row("number", p.onTheWire(*x.Number))
	}
	p.row("took", config.Format(math.Round(x.Seconds*1e4)/1e4, config.Time))
	if x.Value != nil && x.Quality != "good" {
		p.row("quality", forPeople(x.Quality))
	}
	word, text, _ := strings.Cut(p.outcome(x), ": ")
	p.row(word, text)
	p.printOthers(x)
}

// outcome is an exchange in a few words: a value, a fault or a note.
func (p *Probing) outcome(x exchange) string {
	switch {
	case x.Error != nil:
		return "fault: " + forPeople(*x.Error)
	case x.Note != nil:
		return "note: " + *x.Note
	}
	return "value: " + p.value(*x.Value)
}

// printOthers shows other readings: all of them beside a value that is not
// believable, of a 0 those alone that say more.
func (p *Probing) printOthers(x exchange) {
	for _, o := range x.Others {
		zero := o.Number != nil && *o.Number == 0
		if x.Error == nil && !x.doubtful && (!o.Believable || zero) {
			continue
		}
		said := "nothing"
		switch {
		case o.Error != nil:
			said = short(*o.Error)
		case o.Value != nil && o.Believable:
			said = p.value(*o.Value) + ", believable"
		case o.Value != nil:
			said = p.value(*o.Value) + ", below the meter's range"
		}
		p.row("or", p.where(o)+": "+said)
	}
}

// where says what to write for another reading, in the words of the
// configuration.
func (p *Probing) where(o alternative) string {
	if !o.Same {
		return fmt.Sprintf("table = %q, register = %d", o.Table, o.Register)
	}
	var parts []string
	if o.from.WordsLittle != p.Instrument.Modbus.WordsLittle {
		parts = append(parts, fmt.Sprintf("words = %q", o.Words))
	}
	if o.from.BytesSwapped != p.Instrument.Modbus.BytesSwapped {
		parts = append(parts, fmt.Sprintf("bytes = %q", o.Bytes))
	}
	return "the same bytes, " + strings.Join(parts, ", ")
}

// found is a line of --json for what a search has found.
type found struct {
	Found    bool    `json:"found"` // tells it from an exchange
	Port     string  `json:"port"`
	Device   string  `json:"device"`
	Baud     int     `json:"baud"`
	Framing  string  `json:"framing"`
	Address  *int    `json:"address"` // null for text
	Sent     spoken  `json:"sent"`
	Received spoken  `json:"received"`
	Error    *string `json:"error"`
}

// tellFound tells of somebody who answers a search.
func (p *Probing) tellFound(at config.Port, address byte, x exchange) {
	value, fault := alone(p.Instrument, x.reading)
	who, number := "it", (*int)(nil)
	if address > 0 {
		n := int(address)
		who, number = fmt.Sprintf("address %d", n), &n
	}
	if p.JSON {
		p.encode(found{true, at.Name, at.Device, at.Baud, at.Framing(), number, x.Sent, x.Received, fault})
		return
	}
	said := p.onTheWire(x.reading.Number)
	switch {
	case fault != nil:
		said = short(*fault)
	case value != nil:
		said = p.value(*value)
	}
	line := fmt.Sprintf("%s answers at %d Bd, %s on %s (%s): %s", who, at.Baud, at.Framing(), at.Name, at.Device, said)
	if at.Name != p.port.Name {
		line += fmt.Sprintf("; that is ports.%s: swap the plugs, or write port = %q", at.Name, at.Name)
	}
	p.row("found", line)
}

// onTheWire writes the number with as many digits as it has there.
func (p *Probing) onTheWire(v float64) string {
	bits := 64
	if p.Instrument.Modbus != nil && p.Instrument.Modbus.Type == config.Float32 {
		bits = 32
	}
	return strconv.FormatFloat(v, 'f', -1, bits) + " on the wire"
}

func (p *Probing) value(v float64) string {
	if p.Instrument.Boolean() {
		return map[bool]string{true: "yes", false: "no"}[v != 0]
	}
	return forPeople(config.Format(v, config.DimensionOf(p.Instrument.ID)))
}

// forPeople writes degrees as people do; machines read Cel.
func forPeople(text string) string { return strings.ReplaceAll(text, " Cel", " °C") }

// short is a fault without its place, which stands before it, and its remedy.
func short(fault string) string {
	said, _, _ := strings.Cut(forPeople(fault), ";")
	return strings.TrimSpace(said[strings.LastIndex(said, ": ")+1:])
}

func (p *Probing) row(name, text string) {
	fmt.Fprintf(p.Out, "   %-9s %s\n", name, config.Printable(text))
}

// bytes shows bytes in hexadecimal and as text, sixteen a line.
func (p *Probing) bytes(name string, b []byte) {
	if len(b) == 0 {
		p.row(name, "nothing")
	}
	for ; len(b) > 0; name = "" {
		n := min(16, len(b))
		p.row(name, fmt.Sprintf("%-47s  \"%s\"", hexOf(b[:n]), textOf(b[:n])))
		b = b[n:]
	}
}
