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

// inputKinds are the words of the input table's kind column, and where of an input
// the body column stands; nil: it is empty.
var inputKinds = [...]struct {
	name string
	body func(*daq.Input) any
}{
	daq.KindStart:   {"start", func(in *daq.Input) any { return &in.Start }},
	daq.KindReading: {"reading", func(in *daq.Input) any { return (*reading)(&in.Reading) }},
	daq.KindTick:    {"tick", nil},
	daq.KindCommand: {"command", func(in *daq.Input) any { return &in.Command }},
	daq.KindHealth:  {"health", func(in *daq.Input) any { return &in.Health }},
	daq.KindReload:  {"reload", func(in *daq.Input) any { return &in.Start }},
	daq.KindOutput:  {"output", func(in *daq.Input) any { return &in.Output }},
	daq.KindNote:    {"note", func(in *daq.Input) any { return &in.Note }},
}

// encodeInput gives the kind and body columns; decodeInput reads them.
func encodeInput(in *daq.Input) (kind, body string, err error) {
	if int(in.Kind) >= len(inputKinds) {
		return "", "", fmt.Errorf("kind %d is not one of the inputs", in.Kind)
	}
	k := inputKinds[in.Kind]
	if k.body == nil {
		return k.name, "", nil
	}
	b, err := json.Marshal(k.body(in))
	return k.name, string(b), err
}

// decodeInput fills in.Kind and what belongs to it.
func decodeInput(in *daq.Input, kind, body string) error {
	for i, k := range inputKinds {
		if k.name != kind {
			continue
		}
		in.Kind = daq.Kind(i)
		if k.body == nil {
			return nil
		}
		return json.Unmarshal([]byte(body), k.body(in))
	}
	return fmt.Errorf("kind %q is not one of the inputs", kind)
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

// reading is a Reading that is written as its readingBody.
type reading daq.Reading

// MarshalJSON writes the body column.
func (r *reading) MarshalJSON() ([]byte, error) {
	return json.Marshal(readingBody{r.Instrument.Short(), wireNumber(r.Number), r.Count, r.Reason, r.Error, r.Took, r.At})
}

// UnmarshalJSON reads it.
func (r *reading) UnmarshalJSON(body []byte) error {
	var b readingBody
	if err := json.Unmarshal(body, &b); err != nil {
		return err
	}
	id, ok := quantity.ByShort(b.Of)
	if !ok {
		return fmt.Errorf("%q is not a quantity of this flowrigd", b.Of)
	}
	*r = reading{Instrument: id, Number: float64(b.Number), Count: b.Count, Reason: b.Reason, Error: b.Error, Took: b.Took, At: b.At}
	return nil
}
