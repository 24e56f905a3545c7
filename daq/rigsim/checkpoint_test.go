package rigsim

import (
	"encoding/json"
	"testing"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/engine"
)

// twins go on from checkpoints beside the engine that made them.
type twins struct {
	t      *testing.T
	list   []*engine.Engine
	states int
}

// join adds one that goes on from here.
func (w *twins) join(n *night) {
	w.t.Helper()
	state, err := n.engine.Checkpoint(engine.NewDigest())
	must(w.t, err)
	e, _, err := engine.Resume(n.cfg, state)
	must(w.t, err)
	w.list = append(w.list, e)
}

// see holds what each says of an input against what the engine says: every state,
// event and reply, byte for byte.
func (w *twins) see(in daq.Input, state daq.State, events []daq.Event, reply *daq.Reply) {
	w.t.Helper()
	w.states++
	want := told(w.t, &state, events, reply)
	for i, e := range w.list {
		s, ev := e.Step(in)
		if got := told(w.t, &s, ev, e.Reply()); got != want {
			w.t.Fatalf("at %v the engine of checkpoint %d says\n%s\nand that which made it\n%s", in.Mono, i+1, got, want)
		}
	}
}

func told(t *testing.T, s *daq.State, events []daq.Event, reply *daq.Reply) string {
	t.Helper()
	text := daq.AppendState(nil, s, daq.Identity{})
	for _, e := range events {
		text = append(append(text, '\n'), e.Message("", 1).Body...)
	}
	answer, err := json.Marshal(reply)
	must(t, err)
	return string(append(text, answer...))
}

// TestACheckpointGoesOnAsTheLiveRun in every scenario: made while it settles, while what
// happens is under way and people act on it, and after that.
func TestACheckpointGoesOnAsTheLiveRun(t *testing.T) {
	names := Scenarios()
	if !*long {
		names = []string{"overheat"}
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			n := newNight(t, Options{Scenario: name, Seed: 1})
			w := &twins{t: t}
			n.seen = w.see
			n.sleep(5 * time.Second)
			w.join(n) // settling
			n.do(daq.Command{ID: "1", Who: "dana", Ask: &daq.GiveAsk{}})
			n.do(daq.Command{ID: "2", Who: "dana", Ask: &daq.StillAsk{}})
			n.do(daq.Command{ID: "3", Who: "dana", Ask: &daq.PermitAsk{Do: daq.ProofTest}})
			n.sleep(2 * time.Second)
			w.join(n) // a proof test, and a still thread being taken
			n.sleep(30 * time.Second)
			for _, a := range n.state.Alarms {
				n.do(daq.Command{ID: "4", Who: "dana", Ask: &daq.ShelveAsk{Alarm: a.Name, For: time.Minute}})
			}
			w.join(n) // alarms shelved, where there are any
			n.step(daq.Input{Kind: daq.KindReload, Start: &daq.Start{Configuration: n.cfg.SHA256, Config: n.cfg}})
			w.join(n)
			n.mute, n.muted = quantity.Temperature, true
			n.sleep(10 * time.Second)
			w.join(n) // an instrument silent
			n.muted = false
			n.sleep(60 * time.Second)
			for _, a := range n.state.Alarms {
				n.do(daq.Command{ID: "5", Who: "dana", Ask: &daq.AlarmAsk{Do: daq.Acknowledge, Alarm: a.Name}})
			}
			n.do(daq.Command{ID: "6", Who: "dana", Ask: &daq.CaptureAsk{Point: "by hand"}})
			w.join(n)
			n.sleep(20 * time.Second)
			if w.states < 300 {
				t.Errorf("only %d states compared", w.states)
			}
		})
	}
}
