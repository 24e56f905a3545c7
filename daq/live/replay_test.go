package live

import (
	"context"
	"io"
	"iter"
	"os"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
)

// holed is a recording of one run, of which some inputs cannot be read.
type holed struct{ text string }

func (h holed) Runs(context.Context) ([]daq.Run, error) {
	return []daq.Run{{Number: 1, Configuration: "c", Build: "this", Inputs: 9, First: 1}}, nil
}

func (h holed) Inputs(context.Context, int64, uint64) iter.Seq2[daq.Input, error] {
	return func(yield func(daq.Input, error) bool) {
		for n := uint64(1); n <= 9; n++ {
			in, err := daq.Input{Number: n, Mono: time.Duration(n) * time.Second, Wall: time.Unix(int64(n), 0), Kind: daq.KindTick}, error(nil)
			switch {
			case n == 1:
				in.Kind, in.Start = daq.KindStart, &daq.Start{Configuration: "c"}
			case n == 5:
				err = &daq.LostInputs{First: 4, Last: 6, From: "then", To: "later", Why: io.ErrUnexpectedEOF}
			case n > 3 && n < 7:
				continue
			}
			if !yield(in, err) {
				return
			}
		}
	}
}

func (h holed) Digests(context.Context, int64) (map[uint64]string, error) { return nil, nil }

func (h holed) Checkpoints(context.Context, int64) ([]daq.Checkpoint, error) { return nil, nil }

func (h holed) CheckpointState(context.Context, int64, uint64) ([]byte, error) { return nil, nil }

func (h holed) Configuration(context.Context, string) (string, error) { return h.text, nil }

func (h holed) Rows(context.Context, time.Time, time.Time) iter.Seq2[daq.Row, error] {
	return func(func(daq.Row, error) bool) {}
}

func (h holed) Has(quantity.ID) bool { return true }

// TestReplayPassesOverWhatCannotBeRead: it is named by its time, and what stands behind it
// is played.
func TestReplayPassesOverWhatCannotBeRead(t *testing.T) {
	text, err := os.ReadFile("../../testdata/rigs/good/bench.toml")
	if err != nil {
		t.Fatal(err)
	}
	var out, say strings.Builder
	p := Replay{From: holed{string(text)}, Build: "this", Out: &out, Say: &say}
	err = p.Run(t.Context())
	if err == nil || !strings.Contains(err.Error(), "1 of 1 runs are not whole") {
		t.Errorf("%v", err)
	}
	if got := strings.Count(out.String(), "\n"); got != 5 {
		t.Errorf("%d states, want 5\n%s", got, say.String())
	}
	for _, want := range []string{"run 1: inputs 4 to 6, from then to later, cannot be read: unexpected EOF", "inputs 4 to 6, before 1970-01-01T00:00:07.000000Z, are not in the recording: they cannot be read"} {
		if !strings.Contains(say.String(), want) {
			t.Errorf("%q does not say %q", say.String(), want)
		}
	}
}
