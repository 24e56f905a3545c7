// Package parts owns how the parts of a program begin together, end in an order,
// each within its grace time, and are replaced while the others run.
//
//	Part, … → Run → all begin → ctx or a vital part ends → each is stopped in turn
//
// It knows nothing of what a part does.
package parts

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"
)

// Work is what a part does until its context ends.
type Work func(context.Context) error

// Idle is the work of a part that is not configured.
func Idle(ctx context.Context) error {
	<-ctx.Done()
	return nil
}

// If is the work where there is such a part, and idle where there is none.
func If(there bool, w Work) Work {
	if there {
		return w
	}
	return Idle
}

// Part is one part of a program.
type Part struct {
	Name  string
	Grace time.Duration // how long it may take to stop
	Work  Work
	Vital bool // that it ends by itself is the end of the program
	Must  bool // that it does not stop well is a failure of the program
}

// Run begins all parts, and stops them in their order when ctx ends or a vital one
// ends by itself; that is the error then.
func Run(ctx context.Context, log *slog.Logger, list []Part) (failed error) {
	ended := make(chan error, len(list))
	var begun []*Running
	for _, p := range list {
		begun = append(begun, Begin(p.Name, func(ctx context.Context) error {
			err := p.Work(ctx)
			if !p.Vital || ctx.Err() != nil {
				return err
			}
			why := fmt.Errorf("%s ended by itself", p.Name)
			if err != nil {
				why = fmt.Errorf("%w: %w", why, err)
			}
			ended <- why
			return nil
		}))
	}
	select {
	case <-ctx.Done():
	case failed = <-ended:
	}
	for i, p := range list {
		switch err := begun[i].Stop(p.Grace); {
		case err == nil:
		case p.Must:
			failed = errors.Join(failed, err)
		default:
			log.Warn("stopping", "why", err)
		}
	}
	return failed
}

// Running is a part at work.
type Running struct {
	name   string
	cancel context.CancelFunc
	done   chan struct{}
	err    error // valid once done is closed
}

// Begin starts a part. It ends when Stop is called or by itself.
func Begin(name string, work Work) *Running {
	ctx, cancel := context.WithCancel(context.Background())
	r := &Running{name: name, cancel: cancel, done: make(chan struct{})}
	go func() {
		defer close(r.done)
		r.err = work(ctx)
	}()
	return r
}

// Done is closed when the part has ended.
func (r *Running) Done() <-chan struct{} { return r.done }

// Stop ends the part and waits for it, for the grace time at most. The error is the
// part's own, or that it is still busy.
func (r *Running) Stop(grace time.Duration) error {
	r.cancel()
	select {
	case <-r.done:
		if r.err != nil {
			return fmt.Errorf("%s: %w", r.name, r.err)
		}
		return nil
	case <-time.After(grace):
		return fmt.Errorf("%s: still busy after %v; left behind", r.name, grace)
	}
}
