package live

import (
	"context"
	"testing"

	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// TestTheEngineHearsOfACallerWhoHasGone: what a person asked who did not wait is brought
// to the engine each time, which refuses it and journals that.
func TestTheEngineHearsOfACallerWhoHasGone(t *testing.T) {
	l := &Loop{o: LoopOptions{Clock: clock.New()}, in: make(chan daq.Input, 1)}
	gone, leave := context.WithCancel(t.Context())
	leave()
	for range 50 {
		if _, err := l.Ask(gone, daq.Command{Ask: daq.NewAsk(daq.Still)}); err == nil {
			t.Fatal("it is answered")
		}
		select {
		case in := <-l.in:
			if in.Command.Caller.Err() == nil {
				t.Fatal("the engine cannot know that who asked has gone")
			}
		default:
			t.Fatal("the engine does not hear of it")
		}
	}
}
