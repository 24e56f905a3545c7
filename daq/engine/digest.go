package engine

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"time"

	"flowrigd/daq"
)

// digestEvery is how often the live run stores a digest of its states.
const digestEvery = time.Minute

// Digest runs over the states of the intervals since a run began, as they are
// written. A replay that gives the same digests gave the same states, byte for
// byte.
type Digest struct {
	sum  hash.Hash
	next time.Duration
	text []byte
}

// NewDigest begins one for a run.
func NewDigest() *Digest { return &Digest{sum: sha256.New(), next: digestEvery} }

// Add takes a state; it gives the digest so far when a minute is over, else "".
// States between the intervals do not count.
func (d *Digest) Add(s *daq.State) string {
	if !s.Tick {
		return ""
	}
	d.text = daq.AppendState(d.text[:0], s, daq.Identity{})
	d.sum.Write(d.text)
	if s.Mono < d.next {
		return ""
	}
	d.next = NextDue(d.next, s.Mono, digestEvery)
	return hex.EncodeToString(d.sum.Sum(nil))
}

// NextDue is the next instant start + n·interval that is not over. Ticks that
// a suspended process missed are not made up for.
func NextDue(due, now, interval time.Duration) time.Duration {
	due += interval
	if late := now - due; late > 0 {
		due += late - late%interval
	}
	return due
}
