package record

import (
	"encoding/json"
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// everyKind holds an input of each kind, with values that a careless encoding
// would bend.
func everyKind() []daq.Input {
	reading := func(r daq.Reading) daq.Input { return daq.Input{Kind: daq.KindReading, Reading: r} }
	list := []daq.Input{
		{Kind: daq.KindStart, Start: &daq.Start{Configuration: "f00", Alarms: []daq.SavedAlarm{
			{Name: "a", State: "shelved", Since: start, Until: start.Add(time.Nanosecond), Value: number(0.1)}, {Name: "b", State: "normal", Since: start}}}},
		{Kind: daq.KindTick},
		{Kind: daq.KindReload, Start: &daq.Start{Configuration: "ba5"}},
		{Kind: daq.KindCommand, Command: &daq.Command{ID: "1", Who: "desk", Ask: daq.AskAlarm(daq.Shelve, "a", "\"quoted\" <b>", 30*time.Minute)}},
		{Kind: daq.KindHealth, Health: &daq.Health{Recording: true}},
		{Kind: daq.KindHealth, Health: &daq.Health{Broker: true, Receivers: daq.Receivers{Known: true, Failed: "the receiver desk says: \"no\"", Waited: 7*time.Minute + 1}}},
		reading(daq.Reading{Instrument: quantity.Flow, Number: 1.0 / 3, Took: 12345678, At: 9876543210123}),
		reading(daq.Reading{Instrument: quantity.SupplyFlow, Count: math.MaxUint64, Number: math.MaxFloat64}),
		reading(daq.Reading{Instrument: quantity.Level, Reason: daq.ReasonTimeout, Error: "no answer within 200 ms"}),
		reading(daq.Reading{Instrument: quantity.Tank, Number: math.Inf(-1)}),
		reading(daq.Reading{Instrument: quantity.Tank, Number: math.SmallestNonzeroFloat64}),
		reading(daq.Reading{Instrument: quantity.Tank, Number: math.Copysign(0, -1)}),
	}
	for i := range list {
		list[i].Number, list[i].Mono = uint64(i+1), time.Duration(i)*time.Millisecond+1
		list[i].Wall, list[i].Synchronised = start.Add(time.Duration(i)), i%2 == 0
	}
	return list
}

// Replay is exact only if every input comes back exactly, to the last bit.
func TestInputsComeBackExactly(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	want := everyKind()
	for _, in := range want {
		r.Put(daq.Batch{Input: in})
	}
	tellAt(t, r, uint64(len(want)+1), raise("a", "normal", 0)) // behind them all
	i := 0
	for got, err := range r.Inputs(t.Context(), 1, 1) {
		if err != nil {
			t.Fatal(err)
		}
		if i < len(want) && (!reflect.DeepEqual(got, want[i]) || math.Float64bits(got.Reading.Number) != math.Float64bits(want[i].Reading.Number)) {
			t.Errorf("input %d: %+v, want %+v", i+1, got, want[i])
		}
		i++
	}
	if i != len(want)+1 { // and the one that brought the alarm
		t.Errorf("%d inputs, want %d", i, len(want))
	}
}

func TestNotANumberComesBack(t *testing.T) {
	kind, body, err := encodeInput(&daq.Input{Kind: daq.KindReading, Reading: daq.Reading{Number: math.NaN()}})
	if err != nil {
		t.Fatal(err)
	}
	var in daq.Input
	if err := decodeInput(&in, kind, body); err != nil || !math.IsNaN(in.Reading.Number) {
		t.Error(in.Reading.Number, err)
	}
}

// FuzzDecodeInput: whatever stands in the table, decoding neither panics nor
// takes what it cannot write again.
func FuzzDecodeInput(f *testing.F) {
	for _, in := range everyKind() {
		kind, body, err := encodeInput(&in)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(kind, body)
	}
	f.Add("reading", `{"of":"flow","number":"NaN"}`)
	f.Fuzz(func(t *testing.T, kind, body string) {
		var in daq.Input
		if decodeInput(&in, kind, body) != nil {
			return
		}
		again, text, err := encodeInput(&in)
		if err != nil || again != kind || (text != "" && !json.Valid([]byte(text))) {
			t.Errorf("%s %q became %s %q, %v", kind, body, again, text, err)
		}
	})
}

// A digest is kept with the input that it goes up to, whether a row is made
// there or not.
func TestDigestIsKeptWithoutARow(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	r.Put(begin("abc"))
	b := tick(2)
	b.State, b.Digest = nil, "f00d"
	r.Put(b)
	shut(t, r)
	r = open(t, filepath.Dir(r.path), Options{})
	if got, err := r.Digests(t.Context(), 1); err != nil || !reflect.DeepEqual(got, map[uint64]string{2: "f00d"}) {
		t.Errorf("%v, %v", got, err)
	}
}

// What was never put, because there was no recording yet, is counted by the
// numbers of the inputs and said once.
func TestLateOpeningIsNoted(t *testing.T) {
	r := open(t, t.TempDir(), Options{})
	r.Put(begin("abc"))
	for n := range 3 {
		r.Put(tick(n + 313))
	}
	r.Put(begin("abc")) // another run: no hole
	r.Put(tick(2))
	shut(t, r)
	r = open(t, filepath.Dir(r.path), Options{})
	notes, err := r.Pending(t.Context(), daq.ClassEvent, 0, 10)
	if err != nil || len(notes) != 1 || !strings.Contains(string(notes[0].Body), "opened late: 311 inputs") || !strings.Contains(string(notes[0].Body), `"kind":"gap"`) {
		t.Errorf("%+v, %v", notes, err)
	}
}
