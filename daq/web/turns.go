package web

import (
	"context"
	"errors"
	"net/http"
	"sync"
)

// turns bounds how many answers are made at once for one rank of sender, so
// that a crowd of one leaves processor and recording to the others and to the
// instruments. An operator waits for nobody.
type turns [operator]chan struct{}

const turnsOfRank = 2

var errNoTurn = errors.New("too many ask for this at once; try again")

func newTurns() (t turns) {
	for of := range t {
		t[of] = make(chan struct{}, turnsOfRank)
	}
	return t
}

// take waits for a turn until the context ends; who has one gives it back by
// done.
func (t *turns) take(ctx context.Context, of rank) (done func(), err error) {
	if of == operator {
		return func() {}, nil
	}
	select {
	case t[of] <- struct{}{}:
		return sync.OnceFunc(func() { <-t[of] }), nil
	case <-ctx.Done():
	}
	return nil, errNoTurn
}

// answer gives the turn back once it begins to be sent: a slow receiver, and a
// stream, must not keep it.
type answer struct {
	http.ResponseWriter
	done func()
}

func (a *answer) WriteHeader(status int) {
	a.done()
	a.ResponseWriter.WriteHeader(status)
}

func (a *answer) Write(b []byte) (int, error) {
	a.done()
	return a.ResponseWriter.Write(b)
}

// Unwrap is for http.ResponseController.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

// costly waits for a turn among the answers that ask the recording, which may
// hang: those that do not ask it must not wait behind.
func (s *Server) costly(ctx context.Context, w http.ResponseWriter, r *http.Request) (done func(), err error) {
	if a, ok := w.(*answer); ok {
		a.done()
	}
	return s.recordingTurns.take(ctx, ranks[who(r).role])
}
