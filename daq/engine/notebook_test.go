package engine

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"flowrigd/calc/uncertainty"
	"flowrigd/daq"
)

// What is asked of the notebook is obeyed in its own step, answered once, refused with
// a note, and comes out of the recorded inputs the same.
func TestNotebookIsObeyed(t *testing.T) {
	b := newBench(t)
	play := func(b *bench, text string) string {
		var c daq.Command
		if err := json.Unmarshal([]byte(text), &c); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(c)
		if err != nil || string(again) != text {
			t.Errorf("%s is recorded as %s, %v", text, again, err)
		}
		events := b.step(daq.Input{Kind: daq.KindCommand, Command: &c})
		if reply := b.e.Reply(); reply == nil || reply.ID != c.ID || len(events) != 1 {
			t.Fatalf("%s: %d events, reply %+v", text, len(events), reply)
		}
		return string(events[0].Message("r", 7).Body)
	}
	record := func(ask daq.Ask) string {
		text, err := json.Marshal(daq.Command{ID: "1", Who: "dana", Ask: ask})
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	asks := []struct{ text, want string }{
		{record(&daq.CaptureAsk{Point: "cold"}), `"kind":"test-point","time":"2026-03-02T09:03:00.000000Z","who":"dana"`},
		{record(&daq.ObserveAsk{Seen: "laminar", Note: "a thread"}), `"kind":"observation"`},
		{record(&daq.CollectAsk{Volume: &uncertainty.Value{X: 6e-4}, Start: dayOne.Add(2 * time.Minute), Stop: dayOne.Add(150 * time.Second)}), `"kind":"collection"`},
		{record(&daq.NoteAsk{Kind: "valve"}), `"kind":"valve"`},
		{record(&daq.StrikeAsk{Of: "observation", Struck: 3, Reason: "no dye"}), `"kind":"strike"`},
		{record(&daq.ObserveAsk{Seen: "blue"}), `"kind":"refused"`},
	}
	var first []string
	for run := range 2 {
		b = newBench(t)
		b.run(3*time.Minute, 1.2, 25, 250)
		for i, a := range asks {
			text := play(b, a.text)
			if !strings.Contains(text, a.want) {
				t.Errorf("%s: %s, want %s", a.text, text, a.want)
			}
			if run == 0 {
				first = append(first, text)
			} else if text != first[i] {
				t.Errorf("played again:\n%s\nis not\n%s", text, first[i])
			}
		}
	}
	if b.e.Reply().Error == "" || !strings.HasPrefix(b.e.Reply().Error, "observe: refused: seen:") {
		t.Errorf("refused with %q", b.e.Reply().Error)
	}
}
