package main

import (
	"context"

	"flowrigd/daq"
	"flowrigd/daq/live"
	"flowrigd/daq/parts"
)

// standBy shows the page while another daemon records here, and waits for its
// end. That daemon has the instruments, the relay and whoever is told.
func (d *daemon) standBy(ctx context.Context) error {
	return d.runParts(ctx, []parts.Part{
		{Name: "engine", Grace: stopReading, Work: d.loop.Run, Vital: true},
		{Name: "embedded broker", Grace: stopSinks, Work: parts.If(d.broker != nil, d.broker.Run)},
		{Name: "http", Grace: stopSinks, Work: d.server.Run},
		{Name: "recording", Grace: stopRecording, Work: d.recording.Await, Must: true},
	})
}

// Last is the newest state.
func (v view) Last() *daq.State {
	s := v.d.loop.Last()
	if v.d.standsBy {
		return live.StandingBy(s)
	}
	return s
}

// Do passes a command to the engine.
func (v view) Do(ctx context.Context, c daq.Command) (made []byte, err error) {
	if v.d.standsBy {
		return nil, live.RefuseStandingBy(c)
	}
	return v.d.loop.Ask(ctx, c)
}
