package live

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq/clock"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

// TestLoopKeepsACheckpointEachHour, from which the rest of the run has the same digests.
func TestLoopKeepsACheckpointEachHour(t *testing.T) {
	cfg := daqtest.Config(t, strings.Replace(daqtest.Rig("measuring"), `rig = `, "interval = \"2 s\"\nrig = ", 1))
	j := &memoryJournal{}
	synctest.Test(t, func(t *testing.T) {
		e, err := engine.New(cfg, nil)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour+3*time.Minute+time.Second)
		defer cancel()
		_ = NewLoop(LoopOptions{Engine: e, Clock: clock.New(), Journal: j}).Run(ctx)
	})
	made, checked := 0, 0
	var e *engine.Engine
	var digest *engine.Digest
	for _, b := range j.batches {
		if e != nil {
			state, _ := e.Step(b.Input)
			got := digest.Add(&state)
			if got != b.Digest {
				t.Fatalf("behind the checkpoint input %d gives the digest %q, and the live run has %q", b.Input.Number, got, b.Digest)
			}
			if got != "" {
				checked++
			}
		}
		if b.Checkpoint == nil {
			continue
		}
		if made++; b.Input.Mono != time.Hour {
			t.Errorf("a checkpoint after %v", b.Input.Mono)
		}
		var err error
		if e, digest, err = engine.Resume(cfg, b.Checkpoint); err != nil {
			t.Fatal(err)
		}
	}
	if made != 1 || checked != 3 {
		t.Errorf("%d checkpoints and %d digests, want 1 and 3", made, checked)
	}
}
