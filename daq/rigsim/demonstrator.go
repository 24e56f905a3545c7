package rigsim

import (
	"context"
	"crypto/rand"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// The simulated demonstrator asks each askEvery for the heating permit, and gives
// up when the rig has run for askFor: it is not permitted then, or there is none.
const (
	askEvery = 200 * time.Millisecond
	askFor   = 5 * time.Second
)

// GivePermit is the simulated demonstrator, who gives the heating permit once the
// readings are there. With real hardware a real person does. The clock is the
// rig's, and do asks the daemon that watches it.
func GivePermit(ctx context.Context, c *clock.Clock, do func(context.Context, daq.Command) error) error {
	tick := time.NewTicker(c.Wait(askEvery))
	defer tick.Stop()
	worker := c.Worker()
	defer worker.End()
	for c.Now() <= askFor {
		worker.Due(c.Now() + askEvery)
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if do(ctx, daq.Command{ID: rand.Text(), Ask: &daq.GiveAsk{}, Who: "simulated demonstrator"}) == nil {
			return nil
		}
	}
	return nil
}
