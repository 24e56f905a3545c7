package engine

import (
	"crypto/sha256"
	"encoding"
	"fmt"
	"time"

	"flowrigd/config"
	"flowrigd/daq/snapshot"
)

// checkpoint is all that the rest of a run depends on, beside its inputs and the
// configuration.
type checkpoint struct {
	Configuration string // SHA-256
	Engine        *Engine
	Digest        digestState
}

// digestState is a Digest between two states.
type digestState struct {
	Sum  []byte
	Next time.Duration
}

// Checkpoint gives the state of engine and digest behind the last step, for a replay by
// the same program on the same kind of machine.
func (e *Engine) Checkpoint(d *Digest) ([]byte, error) {
	sum, err := d.sum.(encoding.BinaryMarshaler).MarshalBinary() // as the documentation of sha256.New promises
	if err != nil {
		return nil, fmt.Errorf("engine: checkpoint: %w", err)
	}
	b, err := snapshot.Take(&checkpoint{e.cfg.SHA256, e, digestState{sum, d.next}}, e.cfg)
	if err != nil {
		return nil, fmt.Errorf("engine: checkpoint: %w", err)
	}
	return b, nil
}

// Resume makes the engine and the digest of a checkpoint, which was made under a
// configuration of the same text.
func Resume(cfg *config.Config, data []byte) (*Engine, *Digest, error) {
	var c checkpoint
	if err := snapshot.Restore(data, &c, cfg); err != nil {
		return nil, nil, fmt.Errorf("engine: checkpoint: %w", err)
	}
	if c.Configuration != cfg.SHA256 {
		return nil, nil, fmt.Errorf("engine: checkpoint: it was made under the configuration %s, and not under %s", c.Configuration, cfg.SHA256)
	}
	d := &Digest{sum: sha256.New(), next: c.Digest.Next}
	if err := d.sum.(encoding.BinaryUnmarshaler).UnmarshalBinary(c.Digest.Sum); err != nil {
		return nil, nil, fmt.Errorf("engine: checkpoint: %w", err)
	}
	return c.Engine, d, nil
}
