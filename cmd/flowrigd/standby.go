package main

import (
	"context"
	"errors"
	"fmt"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/parts"
)

// standBy shows the page while another daemon records here, and waits for its
// end. That daemon has the instruments, the relay and whoever is told.
func (d *daemon) standBy(ctx context.Context) error {
	return d.runParts(ctx, []parts.Part{
		{Name: "engine", Grace: stopReading, Work: d.loop.Run, Vital: true},
		{Name: "embedded broker", Grace: stopSinks, Work: d.runBroker},
		{Name: "http", Grace: stopSinks, Work: d.runServer},
		{Name: "recording", Grace: stopRecording, Work: d.recording.Await, Must: true},
	})
}

// errStandsBy refuses what a person wants of a daemon that stands by.
var errStandsBy = errors.New("this flowrigd stands by, another one has the instruments and the relay: do it on that one's page")

// standingBy is a state as a daemon that stands by may show it: the permit is
// the other daemon's, and how it stands is not known here.
func standingBy(s *daq.State) *daq.State {
	if s == nil {
		return nil
	}
	shown := *s
	shown.Values.Clear(quantity.HeatingPermitted)
	shown.Given, shown.ProofTest, shown.Without = false, false, nil
	shown.Warnings = append([]string{"this flowrigd stands by: another one has the instruments and the relay, and what stands here says nothing of the rig; look at that one's page"}, s.Warnings...)
	return &shown
}

// Last is the newest state.
func (v view) Last() *daq.State {
	s := v.d.loop.Last()
	if v.d.standsBy {
		return standingBy(s)
	}
	return s
}

// Do passes a person's command to the engine.
func (v view) Do(ctx context.Context, c daq.Command) error {
	if v.d.standsBy {
		return fmt.Errorf("%s: refused: %w", c.Verb(), errStandsBy)
	}
	return v.d.loop.Do(ctx, c)
}
