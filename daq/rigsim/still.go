package rigsim

import (
	"context"
	"crypto/rand"
	"math"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// stillEvery is how often the simulated demonstrator looks whether the thread is still.
const stillEvery = time.Second

// Demonstrate is the simulated demonstrator: gives the heating permit once the readings
// are there, starts the plan of its scenario, and asks the daemon to take the still thread, where the light is watched,
// as soon as the flow is laminar and the thread has been a straight line for a look.
func (s *Sim) Demonstrate(ctx context.Context, c *clock.Clock, do func(context.Context, daq.Command) error) error {
	err := GivePermit(ctx, c, do)
	if s.story.plan != "" {
		// Refused where one runs from before a restart; the refusal is journalled.
		_ = do(ctx, daq.Command{ID: rand.Text(), Ask: &daq.StartExperimentAsk{Plan: SweepPlan}, Who: "simulated demonstrator"})
	}
	if err != nil || s.sensor(quantity.DyeLight) == nil {
		return err
	}
	tick := time.NewTicker(c.Wait(stillEvery))
	defer tick.Stop()
	worker := c.Worker()
	defer worker.End()
	for {
		worker.Due(c.Now() + stillEvery)
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if s.laminar() && do(ctx, daq.Command{ID: rand.Text(), Ask: &daq.StillAsk{}, Who: "simulated demonstrator"}) == nil {
			return nil
		}
	}
}

// laminar says whether the thread has been whole for a look, in a flow that is laminar by
// its Reynolds number and stays so: the hand is off the valve.
func (s *Sim) laminar() bool {
	s.follow()
	s.mu.Lock()
	defer s.mu.Unlock()
	p := s.plant
	return bandOf(p.reynolds()) == quantity.Laminar && math.Abs(p.tube.opening-p.tube.wanted) < 1e-9 && p.dye.share(lookSeconds) == 0
}
