//go:build unix

package main

import (
	"strings"
	"testing"
	"time"
)

// checkpointed is a recording of a run of two minutes, with a checkpoint every 15 s and
// a reload half way, and of a second one.
func checkpointed(t *testing.T) *tape {
	p := newTape(t)
	p.keep = 75
	p.run(2, tapedRig)
	p.run(1, tapedRig)
	return p
}

// from is a time of the first run, and the states of the live run from then on.
func (p *tape) from(after time.Duration) (string, []string) {
	n := int(after/(200*time.Millisecond)) - 1 // the first tick comes 0.2 s after the start
	return tapeBegin.Add(after).Format(time.RFC3339Nano), append(append([]string(nil), p.states[0][n:]...), p.states[1]...)
}

// TestReplayFromACheckpoint: the states are those of the live run, byte for byte, and the
// digests too, though what came before cannot be read any more.
func TestReplayFromACheckpoint(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		after  time.Duration
		change []string
		says   []string
	}{
		"before the reload":         {50 * time.Second, []string{`UPDATE input SET kind = 'nonsense' WHERE run = 1 AND number < 850`}, []string{"3 digests of the live run checked, 0 differ"}},
		"after it, in the alarm":    {115 * time.Second, []string{`UPDATE input SET kind = 'nonsense' WHERE run = 1 AND number < 2000`}, []string{"2 digests of the live run checked, 0 differ"}},
		"at a checkpoint":           {60 * time.Second, []string{`UPDATE input SET kind = 'nonsense' WHERE run = 1 AND number < 850`}, []string{"0 differ"}},
		"before the first":          {10 * time.Second, nil, []string{"3 digests of the live run checked, 0 differ"}},
		"a damaged one":             {50 * time.Second, []string{`UPDATE checkpoint SET state = substr(state, 1, 500) || x'00' || substr(state, 502) WHERE run = 1 AND number BETWEEN 850 AND 950`}, []string{"the checkpoint of 2031-05-06T07:00:45.000000Z is passed over: it is damaged: its bytes do not have its checksum", "3 digests of the live run checked, 0 differ"}},
		"its configuration missing": {50 * time.Second, []string{`UPDATE checkpoint SET configuration = 'f00'`}, []string{"is passed over", "3 digests of the live run checked, 0 differ"}},
		"its first inputs purged":   {50 * time.Second, []string{`DELETE FROM input WHERE run = 1 AND number < 850`}, []string{"3 digests of the live run checked, 0 differ"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := checkpointed(t)
			p.end(c.change...)
			at, want := p.from(c.after)
			got, diag, code := p.replayed("--from", at)
			says(t, "it", diag, c.says...)
			if code != exitDone {
				t.Errorf("code %d: %s", code, diag)
			}
			sameStates(t, "from "+at, got, want)
		})
	}
}

// Where the first inputs are purged a run is played from its oldest checkpoint that has
// all inputs behind it.
func TestReplayOfAPurgedRunBeginsAtACheckpoint(t *testing.T) {
	t.Parallel()
	p := checkpointed(t)
	p.end(`DELETE FROM input WHERE run = 1 AND number < 500`)
	got, diag, code := p.replayed()
	_, want := p.from(30*time.Second + 200*time.Millisecond)
	says(t, "it", diag, "played from the checkpoint of 2031-05-06T07:00:30.000000Z on", "0 differ")
	sameStates(t, "what is left", got, want)
	if code != exitDone || strings.Contains(diag, "cannot be played") {
		t.Errorf("code %d: %s", code, diag)
	}
}
