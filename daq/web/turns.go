package web

import (
	"context"
	"errors"
)

// turns bounds how many answers that cost the processor and the recording
// something are made at once for one rank of sender, so that a crowd of one
// leaves room for the others. An operator waits for nobody.
type turns [operator]chan struct{}

const turnsOfRank = 2

var errNoTurn = errors.New("too many ask for this at once; try again")

func newTurns() (t turns) {
	for of := range t {
		t[of] = make(chan struct{}, turnsOfRank)
	}
	return t
}

// take waits for a turn until the context ends. Who has one gives it back by
// done before the answer is sent: a slow receiver must not keep it.
func (t *turns) take(ctx context.Context, p person) (done func(), err error) {
	of := rankOf(p)
	if of == operator {
		return func() {}, nil
	}
	select {
	case t[of] <- struct{}{}:
		return func() { <-t[of] }, nil
	case <-ctx.Done():
		return nil, errNoTurn
	}
}
