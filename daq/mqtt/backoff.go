package mqtt

import (
	"context"
	"math/rand/v2"
	"time"
)

// backoff doubles the wait between two attempts. Its zero value starts anew.
type backoff struct{ step time.Duration }

// next gives the wait, between half and all of the step, so that many rigs do
// not return in the same moment after the broker did.
func (b *backoff) next(shortest, longest time.Duration) time.Duration {
	b.step = min(max(2*b.step, shortest), longest)
	return b.step/2 + rand.N(b.step/2+1)
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
