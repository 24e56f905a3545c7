package parts

import (
	"context"
	"log/slog"
)

// Replaceable runs a part that another may replace: one at a time, and the next
// begins when the one before has ended.
type Replaceable struct {
	next chan Work // holds the newest only
	log  *slog.Logger
}

// NewReplaceable is one that begins with first.
func NewReplaceable(first Work, log *slog.Logger) *Replaceable {
	r := &Replaceable{next: make(chan Work, 1), log: log}
	r.next <- first
	return r
}

// Replace lets another part run from now on. It does not wait; one that had not
// begun is dropped. One goroutine at a time may call it.
func (r *Replaceable) Replace(to Work) {
	select {
	case <-r.next:
	default:
	}
	r.next <- to
}

// Run runs the parts until the context ends.
func (r *Replaceable) Run(ctx context.Context) error {
	for w := <-r.next; ; {
		next, err := r.untilReplaced(ctx, w)
		if next == nil {
			return err
		}
		if err != nil {
			r.log.Warn("replaced by a reload", "why", err)
		}
		w = next
	}
}

// untilReplaced runs one part until another waits, or until the context ends.
func (r *Replaceable) untilReplaced(ctx context.Context, w Work) (next Work, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- w(ctx) }()
	select {
	case <-ctx.Done():
	case next = <-r.next:
		cancel()
	}
	return next, <-ended
}
