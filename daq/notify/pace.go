package notify

import (
	"errors"
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

// pause is the wait after an error: a receiver that names a longer time gets it.
func (r *receiver) pause(err error) time.Duration {
	wait := r.wait.Next(r.pace.shortest, r.pace.longest)
	var f *failure
	if errors.As(err, &f) {
		wait = max(wait, min(f.after, r.pace.obedient))
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
