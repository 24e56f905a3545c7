package notify

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"
)

// pace holds the times of a receiver.
type pace struct {
	spacing  time.Duration // least time between two deliveries
	attempt  time.Duration // for one attempt
	shortest time.Duration // first wait after a failure
	longest  time.Duration // longest of our own
	obedient time.Duration // longest that a receiver may ask for
}

// A receiver that is back after any outage is told within the longest wait.
func usualPace() pace {
	return pace{spacing: 100 * time.Millisecond, attempt: 10 * time.Second, shortest: time.Second, longest: time.Minute, obedient: time.Hour}
}

// gather is the least time between two mails: what comes meanwhile goes into
// the next one.
const gather = 30 * time.Second

// mailPatience is the time for one mail: many servers greet strangers late, to
// tire out senders of spam (common practice, no source).
const mailPatience = 30 * time.Second

// backoff doubles the wait between two attempts. Its zero value starts anew.
type backoff struct{ step time.Duration }

// next gives the wait after an error, between half and all of the step, so that
// many rigs do not return in the same moment; a receiver that names a longer
// time gets it.
func (b *backoff) next(p pace, err error) time.Duration {
	b.step = min(max(2*b.step, p.shortest), p.longest)
	wait := b.step/2 + rand.N(b.step/2+1)
	var f *failure
	if errors.As(err, &f) {
		wait = max(wait, min(f.after, p.obedient))
	}
	return wait
}

// failure is what a receiver said beside no.
type failure struct {
	cause   error
	after   time.Duration // not before; 0: as we like
	refused bool          // it will not take this message however often it is sent
}

func (f *failure) Error() string { return f.cause.Error() }
func (f *failure) Unwrap() error { return f.cause }

func refused(err error) bool {
	var f *failure
	return errors.As(err, &f) && f.refused
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
