package main

import (
	"context"
	"fmt"
	"time"
)

// stage is one part of the daemon while it runs.
type stage struct {
	name   string
	cancel context.CancelFunc
	done   chan struct{}
	err    error // valid once done is closed
}

// begin starts a part. It ends when stop is called or by itself.
func begin(name string, run func(context.Context) error) *stage {
	ctx, cancel := context.WithCancel(context.Background())
	s := &stage{name: name, cancel: cancel, done: make(chan struct{})}
	go func() {
		defer close(s.done)
		s.err = run(ctx)
	}()
	return s
}

// stop ends the part and waits for it, for the grace time at most.
func (s *stage) stop(grace time.Duration) error {
	s.cancel()
	select {
	case <-s.done:
		if s.err != nil {
			return fmt.Errorf("%s: %w", s.name, s.err)
		}
		return nil
	case <-time.After(grace):
		return fmt.Errorf("%s: still busy after %v; left behind", s.name, grace)
	}
}
