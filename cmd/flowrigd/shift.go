package main

import (
	"context"
	"log/slog"
)

// work is what a part of the daemon does until its context ends.
type work func(context.Context) error

// idle is the work of a part that nobody wants.
func idle(ctx context.Context) error {
	<-ctx.Done()
	return nil
}

// shift is a part that a reload may replace: one works at a time, and the next
// begins when the one before has said its last.
type shift struct {
	next chan work // holds the newest only
	log  *slog.Logger
}

func newShift(first work, log *slog.Logger) *shift {
	s := &shift{next: make(chan work, 1), log: log}
	s.next <- first
	return s
}

// hand gives the shift to another. It waits for nobody; one that had not begun
// is forgotten. One goroutine at a time may call it.
func (s *shift) hand(to work) {
	select {
	case <-s.next:
	default:
	}
	s.next <- to
}

// run works until the context ends.
func (s *shift) run(ctx context.Context) error {
	for w := <-s.next; ; {
		next, err := s.employ(ctx, w)
		if next == nil {
			return err
		}
		if err != nil {
			s.log.Warn("handing over", "why", err)
		}
		w = next
	}
}

// employ lets one work until another waits, or until the context ends.
func (s *shift) employ(ctx context.Context, w work) (next work, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- w(ctx) }()
	select {
	case <-ctx.Done():
	case next = <-s.next:
		cancel()
	}
	return next, <-ended
}
