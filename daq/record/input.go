package record

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// kindNames are the words of the input table's kind column.
var kindNames = [...]string{
	daq.KindStart:   "start",
	daq.KindReading: "reading",
	daq.KindTick:    "tick",
	daq.KindCommand: "command",
	daq.KindHealth:  "health",
	daq.KindReload:  "reload",
	daq.KindOutput:  "output",
	daq.KindNote:    "note",
}

// wireNumber is a float64 that JSON can carry exactly: the shortest text that
// reads back the same, or "NaN", "+Inf", "-Inf" as text.
type wireNumber float64

func (n wireNumber) MarshalJSON() ([]byte, error) {
	if v := float64(n); math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.AppendQuote(nil, strconv.FormatFloat(v, 'g', -1, 64)), nil
	}
	return json.Marshal(float64(n))
}

func (n *wireNumber) UnmarshalJSON(b []byte) error {
	text := string(b)
	if unquoted, err := strconv.Unquote(text); err == nil {
		text = unquoted
	}
	v, err := strconv.ParseFloat(text, 64)
	*n = wireNumber(v)
	return err
}

// readingBody is a Reading in the input table; times in nanoseconds.
type readingBody struct {
	Of     string        `json:"of"`
	Number wireNumber    `json:"number"`
	Count  uint64        `json:"count,omitempty"`
	Reason daq.Reason    `json:"reason,omitempty"`
	Error  string        `json:"error,omitempty"`
	Took   time.Duration `json:"took"`
	At     time.Duration `json:"at"`
}

// encodeInput gives the kind and body columns; decodeInput reads them.
func encodeInput(in *daq.Input) (kind, body string, err error) {
	if int(in.Kind) >= len(kindNames) {
		return "", "", fmt.Errorf("kind %d is not one of the inputs", in.Kind)
	}
	var v any
	switch in.Kind {
	case daq.KindReading:
		r := &in.Reading
		v = readingBody{r.Instrument.Short(), wireNumber(r.Number), r.Count, r.Reason, r.Error, r.Took, r.At}
	case daq.KindCommand:
		v = in.Command
	case daq.KindHealth:
		v = in.Health
	case daq.KindNote:
		v = in.Note
	case daq.KindOutput:
		v = in.Output
	case daq.KindStart, daq.KindReload:
		v = in.Start
	default:
		return kindNames[in.Kind], "", nil
	}
	b, err := json.Marshal(v)
	return kindNames[in.Kind], string(b), err
}

// decodeInput fills in.Kind and what belongs to it.
func decodeInput(in *daq.Input, kind, body string) (err error) {
	switch kind {
	case "tick":
		in.Kind = daq.KindTick
	case "reading":
		in.Kind = daq.KindReading
		in.Reading, err = decodeReading(body)
	case "command":
		in.Kind = daq.KindCommand
		err = json.Unmarshal([]byte(body), &in.Command)
	case "health":
		in.Kind = daq.KindHealth
		err = json.Unmarshal([]byte(body), &in.Health)
	case "note":
		in.Kind = daq.KindNote
		err = json.Unmarshal([]byte(body), &in.Note)
	case "output":
		in.Kind = daq.KindOutput
		err = json.Unmarshal([]byte(body), &in.Output)
	case "start":
		in.Kind = daq.KindStart
		err = json.Unmarshal([]byte(body), &in.Start)
	case "reload":
		in.Kind = daq.KindReload
		err = json.Unmarshal([]byte(body), &in.Start)
	default:
		err = fmt.Errorf("kind %q is not one of the inputs", kind)
	}
	return err
}

func decodeReading(body string) (daq.Reading, error) {
	var b readingBody
	if err := json.Unmarshal([]byte(body), &b); err != nil {
		return daq.Reading{}, err
	}
	id, ok := quantity.ByShort(b.Of)
	if !ok {
		return daq.Reading{}, fmt.Errorf("%q is not a quantity of this flowrigd", b.Of)
	}
	return daq.Reading{Instrument: id, Number: float64(b.Number), Count: b.Count, Reason: b.Reason, Error: b.Error, Took: b.Took, At: b.At}, nil
}
