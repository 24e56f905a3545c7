package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"flowrigd/daq/rigsim"
)

// scene are the flags that choose what the simulated rig plays.
type scene struct {
	scenario string
	speed    float64
	seed     uint64
}

func (s *scene) flags(c *cobra.Command, scenario, speed string) {
	c.Flags().StringVar(&s.scenario, "scenario", scenario, "`NAME` of what happens: "+strings.Join(rigsim.Scenarios(), ", "))
	c.Flags().Float64Var(&s.speed, "speed", 1, speed)
	c.Flags().Uint64Var(&s.seed, "seed", 1, "of every random draw")
}

// sim makes the rig; an unknown scenario is a wrong use.
func (s *scene) sim(o rigsim.Options) (*rigsim.Sim, error) {
	if s.speed == 0 { // which rigsim takes for a speed that is not given
		return nil, wrongUse{errors.New("speed 0: out of range; write 0.1 to 1000")}
	}
	o.Scenario, o.Speed, o.Seed = s.scenario, s.speed, s.seed
	sim, err := rigsim.New(o)
	if err != nil {
		return nil, wrongUse{err}
	}
	return sim, nil
}

func simulateVerb() *cobra.Command {
	c := &cobra.Command{
		Use:   "simulate --links DIR",
		Short: "The simulated rig alone, on pseudo-terminals",
		Args:  takes("", "links"),
		Long: "simulate makes DIR/bus and DIR/tc as serial lines, DIR/truth.jsonl with the rig's true\n" +
			"state, and DIR/rig.toml, a configuration that `flowrigd run` accepts as it is. Where the\n" +
			"scenario has a heating permit, a key switch bridges its relay until it is first given.",
	}
	var s scene
	s.flags(c, "steady", "how many times as fast as the clock the physics runs, and nothing else: the daemon's delays do not")
	dir := c.Flags().String("links", "", "`DIR` for the lines, the truth and the configuration")
	c.RunE = func(c *cobra.Command, _ []string) error {
		sim, err := s.sim(rigsim.Options{
			Dir: *dir, Relay: rigsim.Guarded(s.scenario), Bypass: true, Log: newLog(c.ErrOrStderr()),
		})
		if err != nil {
			return err
		}
		return sim.Run(c.Context())
	}
	return c
}
