package engine

import (
	"bytes"
	"reflect"
	"testing"

	"flowrigd/config"
	"flowrigd/daq/snapshot"
)

// A field that no checkpoint can hold would be found at night, by a replay that differs.
func TestACheckpointHoldsEveryField(t *testing.T) {
	if err := snapshot.Check(reflect.TypeFor[checkpoint](), reflect.TypeFor[config.Config]()); err != nil {
		t.Error(err)
	}
}

// resumed is the engine of a checkpoint that is made now. It must be the same one, to
// the last bit.
func resumed(t *testing.T, e *Engine) *Engine {
	t.Helper()
	before, err := e.Checkpoint(NewDigest())
	if err != nil {
		t.Fatal(err)
	}
	twin, digest, err := Resume(e.cfg, before)
	if err != nil {
		t.Fatal(err)
	}
	after, err := twin.Checkpoint(digest)
	if err != nil || !bytes.Equal(before, after) {
		t.Fatalf("the engine of a checkpoint makes another one: %d bytes, then %d, %v", len(before), len(after), err)
	}
	return twin
}
