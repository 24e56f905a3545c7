package main

import (
	"context"
	"log/slog"
)

// work is a part of the daemon: it runs until its context ends.
type work func(context.Context) error

// idle is a part that is not configured.
func idle(ctx context.Context) error {
	<-ctx.Done()
	return nil
}

// replaceable runs a part that a reload may replace: one at a time, and the next
// begins when the one before has ended.
type replaceable struct {
	next chan work // holds the newest only
	log  *slog.Logger
}

func newReplaceable(first work, log *slog.Logger) *replaceable {
	r := &replaceable{next: make(chan work, 1), log: log}
	r.next <- first
	return r
}

// replace lets another part run from now on. It does not wait; one that had not
// begun is dropped. One goroutine at a time may call it.
func (r *replaceable) replace(to work) {
	select {
	case <-r.next:
	default:
	}
	r.next <- to
}

// run runs the parts until the context ends.
func (r *replaceable) run(ctx context.Context) error {
	for w := <-r.next; ; {
		next, err := r.runUntilReplaced(ctx, w)
		if next == nil {
			return err
		}
		if err != nil {
			r.log.Warn("replaced by a reload", "why", err)
		}
		w = next
	}
}

// runUntilReplaced runs one part until another waits, or until the context ends.
func (r *replaceable) runUntilReplaced(ctx context.Context, w work) (next work, err error) {
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
