package live

import (
	"context"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// remove takes an alarm out of service, as somebody who waits so long.
func remove(l *Loop, wait time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), wait)
	defer cancel()
	return l.Do(ctx, daq.Command{ID: wait.String(), Who: "dana", Ask: daq.AskAlarm(daq.OutOfService, "head-lost", "", 0)})
}

// removed says whether the engine has done so.
func removed(l *Loop) bool {
	return slices.ContainsFunc(l.Last().Alarms, func(a daq.AlarmStatus) bool { return a.State == "out-of-service" })
}

// A command that waits for the engine longer than two seconds, or whose caller has
// gone meanwhile, is refused and never done; the journal says so.
func TestALateCommandIsNotObeyed(t *testing.T) {
	for _, c := range []struct {
		name    string
		patient time.Duration // how long the caller waits
		hung    time.Duration // how long the engine does
		want    string        // what the caller hears; "" for done
		noted   string        // what the journal says
	}{
		{"in time", 5 * time.Second, 1900 * time.Millisecond, "", ""},
		{"late", 5 * time.Second, 2100 * time.Millisecond, "more than 2 s ago", "more than 2 s ago"},
		{"its caller has gone", time.Second, 1500 * time.Millisecond, "no answer from the engine", "does not wait for the answer any more"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				e := measuring(t)
				j := &memoryJournal{}
				l := NewLoop(LoopOptions{Engine: e, Clock: clock.New(), Journal: j})
				time.Sleep(900 * time.Millisecond) // it has run for less than a command may wait
				answer := make(chan error, 1)
				go func() { answer <- remove(l, c.patient) }()
				time.Sleep(c.hung)
				ctx, cancel := context.WithCancel(t.Context())
				go func() { _ = l.Run(ctx) }()
				time.Sleep(5 * time.Second)
				err := <-answer
				if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
					t.Errorf("the caller hears %v, want %q", err, c.want)
				}
				if removed(l) != (c.want == "") {
					t.Errorf("done: %v", removed(l))
				}
				cancel()
				synctest.Wait()
				if got := refusals(j); c.noted != "" && !strings.Contains(got, c.noted) {
					t.Errorf("the journal says %q, want %q", got, c.noted)
				}
			})
		})
	}
}

// refusals are the notes of what was refused.
func refusals(j *memoryJournal) string {
	j.mu.Lock()
	defer j.mu.Unlock()
	text := ""
	for _, b := range j.batches {
		for _, e := range b.Events {
			if e.Note != nil && e.Note.Kind == "refused" {
				text += e.Note.Text + "\n"
			}
		}
	}
	return text
}

// A command that arrives when the program goes on may have been made when it stood
// still: it counts as old as the standstill, so one of more than two seconds refuses
// it. A withdrawal is obeyed all the same.
func TestACommandOfAStandstillIsNotObeyed(t *testing.T) {
	for _, c := range []struct {
		still, after time.Duration
		obeyed       bool
	}{
		{3 * time.Second, 0, false},
		{3 * time.Second, 400 * time.Millisecond, false}, // the loop has seen it first
		{3 * time.Second, 2400 * time.Millisecond, true},
		{1500 * time.Millisecond, 0, true},
		{500 * time.Millisecond, 0, true},
	} {
		var slept atomic.Int64
		sleeps := func() *clock.Clock {
			return clock.NewOf(func() time.Duration { return time.Duration(slept.Load()) })
		}
		playLoopBy(t, &memoryJournal{}, sleeps, func(l *Loop) {
			time.Sleep(5 * time.Second)
			synctest.Wait()
			slept.Add(int64(c.still))
			time.Sleep(c.after)
			if err := l.Do(context.Background(), daq.Command{ID: "w", Who: "dana", Ask: &daq.PermitAsk{Do: daq.Withdraw}}); err == nil || strings.Contains(err.Error(), "ask again") {
				t.Errorf("%v still: the withdrawal: %v, want the engine's own answer", c.still, err)
			}
			err := remove(l, 5*time.Second)
			if (err == nil) != c.obeyed || err != nil && !strings.Contains(err.Error(), "the program has stood still") {
				t.Errorf("%v still, asked %v after: %v, want it obeyed: %v", c.still, c.after, err, c.obeyed)
			}
			if removed(l) != c.obeyed {
				t.Errorf("%v still, asked %v after: done %v", c.still, c.after, removed(l))
			}
		})
	}
}

// A program that takes long to begin has not stood still.
func TestABeginningIsNoStandstill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := measuring(t)
		l := NewLoop(LoopOptions{Engine: e, Clock: clock.New(), Journal: &memoryJournal{}})
		time.Sleep(10 * time.Second)
		ctx, cancel := context.WithCancel(t.Context())
		go func() { _ = l.Run(ctx) }()
		time.Sleep(300 * time.Millisecond)
		if err := remove(l, 5*time.Second); err != nil {
			t.Error(err)
		}
		cancel()
		synctest.Wait()
	})
}
