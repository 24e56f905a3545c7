package live

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq"
)

// toldList is a sink that remembers.
type toldList struct{ said []string }

func (l *toldList) hear(t daq.Told) {
	word := "unrecorded"
	if t.Recorded {
		word = "recorded"
	}
	l.said = append(l.said, t.Alarm.Name+" "+word)
}

func alarmOf(name string) []daq.Event { return []daq.Event{{Alarm: &daq.AlarmEvent{Name: name}}} }

func tellInBubble(t *testing.T, play func(*Teller), want ...string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		list := &toldList{}
		teller := NewTeller(func() string { return "uuid" }, list.hear)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- teller.Run(ctx) }()
		play(teller)
		synctest.Wait()
		if !slices.Equal(list.said, want) {
			t.Errorf("told %v, want %v", list.said, want)
		}
		cancel()
		<-done
	})
}

func TestTellerWaitsForTheJournal(t *testing.T) {
	tellInBubble(t, func(teller *Teller) {
		first := teller.Hold(alarmOf("a"), func() {})
		second := teller.Hold(alarmOf("b"), func() {})
		second([]daq.Receipt{{Recorded: true, Sequence: 2}})
		time.Sleep(900 * time.Millisecond)
		first([]daq.Receipt{{Recorded: true, Sequence: 1}})
	}, "a recorded", "b recorded")
}

func TestTellerDoesNotWaitForAHungDisk(t *testing.T) {
	answered := 0
	tellInBubble(t, func(teller *Teller) {
		answer := teller.Hold(alarmOf("a"), func() { answered++ })
		time.Sleep(1100 * time.Millisecond)
		if answered != 1 {
			t.Errorf("%d replies after a second", answered)
		}
		answer([]daq.Receipt{{Recorded: true, Sequence: 1}})
	}, "a unrecorded", "a recorded")
	if answered != 1 {
		t.Errorf("%d replies", answered)
	}
}

func TestTellerIsSilentBeforeTheSecondIsOver(t *testing.T) {
	tellInBubble(t, func(teller *Teller) {
		teller.Hold(alarmOf("a"), func() {})
		time.Sleep(990 * time.Millisecond)
	})
}
