package live

import (
	"context"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/clock"
	"flowrigd/daq/daqtest"
	"flowrigd/daq/engine"
)

// memoryJournal takes batches and answers at once, or late.
type memoryJournal struct {
	mu      sync.Mutex
	batches []daq.Batch
	late    time.Duration
}

// measuring is an engine that measures, and no more.
func measuring(t *testing.T) *engine.Engine {
	t.Helper()
	e, err := engine.New(daqtest.Config(t, daqtest.Rig("measuring")), nil)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func (j *memoryJournal) Put(b daq.Batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.batches = append(j.batches, b)
	if b.Reply != nil {
		time.AfterFunc(j.late, func() { b.Input.Command.Answer <- *b.Reply })
	}
}

// playLoop runs a loop in a bubble of virtual time.
func playLoop(t *testing.T, j *memoryJournal, play func(*Loop)) {
	t.Helper()
	playLoopBy(t, j, clock.New, play)
}

// playLoopBy does so by a clock that begins with the test.
func playLoopBy(t *testing.T, j *memoryJournal, begin func() *clock.Clock, play func(*Loop)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		e := measuring(t)
		l := NewLoop(LoopOptions{Engine: e, Clock: begin(), Journal: j})
		ctx, cancel := context.WithCancel(t.Context())
		var group sync.WaitGroup
		group.Go(func() { _ = l.Run(ctx) })
		play(l)
		cancel()
		group.Wait()
	})
}

func TestLoopTicksWithoutDrift(t *testing.T) {
	j := &memoryJournal{}
	playLoop(t, j, func(*Loop) { time.Sleep(time.Minute + 100*time.Millisecond) })
	var ticks, rows int
	for i, b := range j.batches {
		if b.Input.Number != uint64(i+1) {
			t.Fatalf("input %d has number %d", i+1, b.Input.Number)
		}
		if b.Input.Kind == daq.KindTick {
			if want := time.Duration(ticks) * 200 * time.Millisecond; b.Input.Mono != want {
				t.Fatalf("tick %d at %v, want %v", ticks, b.Input.Mono, want)
			}
			ticks++
		}
		if b.State != nil {
			rows++
		}
	}
	if ticks != 301 || rows != 61 {
		t.Errorf("%d ticks and %d rows in 60.1 s, want 301 and 61", ticks, rows)
	}
}

func TestLoopAnswersCommands(t *testing.T) {
	playLoop(t, &memoryJournal{}, func(l *Loop) {
		err := l.Do(context.Background(), daq.Command{ID: "x", Who: "dana", Ask: daq.AskAlarm(daq.Acknowledge, "water-overheat", "", 0)})
		if err == nil || !strings.Contains(err.Error(), "nothing to acknowledge") {
			t.Errorf("refusal %v, want the reason", err)
		}
		err = l.Do(context.Background(), daq.Command{ID: "y", Who: "dana", Ask: daq.AskAlarm(daq.OutOfService, "water-overheat", "", 0)})
		if err != nil {
			t.Errorf("out of service: %v", err)
		}
	})
}

// Two who chose the same id get each their own answer.
func TestEachCommandHasItsOwnAnswer(t *testing.T) {
	playLoop(t, &memoryJournal{late: time.Second}, func(l *Loop) {
		refused := make(chan error, 1)
		go func() {
			refused <- l.Do(context.Background(), daq.Command{ID: "x", Who: "dana", Ask: daq.AskAlarm(daq.Acknowledge, "water-overheat", "", 0)})
		}()
		synctest.Wait() // stepped, and not answered yet
		if err := l.Do(context.Background(), daq.Command{ID: "x", Who: "eli", Ask: daq.AskAlarm(daq.OutOfService, "water-overheat", "", 0)}); err != nil {
			t.Errorf("what was done: %v", err)
		}
		if err := <-refused; err == nil || !strings.Contains(err.Error(), "nothing to acknowledge") {
			t.Errorf("what was refused: %v", err)
		}
	})
}

func TestLoopIsAliveWhileItSteps(t *testing.T) {
	playLoop(t, &memoryJournal{}, func(l *Loop) {
		time.Sleep(10 * time.Second)
		if err := l.Alive(); err != nil {
			t.Error(err)
		}
	})
}

func TestANeverRunLoopIsNotAlive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := measuring(t)
		l := NewLoop(LoopOptions{Engine: e, Clock: clock.New(), Journal: &memoryJournal{}})
		time.Sleep(3 * time.Second)
		if err := l.Alive(); err == nil {
			t.Error("alive without a step for 3 s")
		}
		for range inputQueue + 7 {
			l.Offer(daq.Reading{Instrument: quantity.Flow})
		}
		if n := l.Dropped(); n != 7 {
			t.Errorf("%d dropped, want 7: the queue is bounded and counts", n)
		}
	})
}

// What a step says of the permit holds for two intervals, those of the
// configuration that is in force then.
func TestTheWordOnThePermitGrowsOld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := measuring(t)
		var longest atomic.Int64 // ns
		clock := clock.New()
		l := NewLoop(LoopOptions{
			Engine: e, Clock: clock, Journal: &memoryJournal{},
			OnPermit: func(_ bool, until time.Duration) { longest.Store(max(longest.Load(), int64(until-clock.Now()))) },
		})
		ctx, cancel := context.WithCancel(t.Context())
		var group sync.WaitGroup
		group.Go(func() { _ = l.Run(ctx) })
		for _, c := range []struct {
			interval string
			want     time.Duration
		}{{"200 ms", 400 * time.Millisecond}, {"500 ms", time.Second}, {"100 ms", 200 * time.Millisecond}} {
			l.Reload(daqtest.Config(t, `interval = "`+c.interval+"\"\n"+daqtest.Rig("measuring")))
			synctest.Wait()
			longest.Store(0)
			time.Sleep(5 * time.Second)
			synctest.Wait()
			if got := time.Duration(longest.Load()); got != c.want {
				t.Errorf("at an interval of %s a word holds for %v, want %v", c.interval, got, c.want)
			}
		}
		cancel()
		group.Wait()
	})
}

func TestNextDue(t *testing.T) {
	for _, c := range []struct{ due, now, want time.Duration }{
		{0, 1, 200}, {200, 399, 400}, {200, 450, 400}, {200, 1050, 1000}, {200, 1200, 1200},
	} {
		ms := time.Millisecond
		if got := engine.NextDue(c.due*ms, c.now*ms, 200*ms); got != c.want*ms {
			t.Errorf("after %d at %d: %v, want %d ms", c.due, c.now, got, c.want)
		}
	}
}

// A counter hears the engine's verdict: a number that the line brought well and
// the sensor cannot measure is no good reading.
func TestLoopTellsTheVerdictOnReadings(t *testing.T) {
	var heard []string
	j := &memoryJournal{}
	playLoop(t, j, func(l *Loop) {
		l.o.OnReading = func(r daq.Reading) { heard = append(heard, string(r.Reason)) }
		for _, r := range []daq.Reading{
			{Instrument: quantity.Flow, Number: 1.2},
			{Instrument: quantity.Flow, Number: 1e6},
			{Instrument: quantity.Flow, Reason: daq.ReasonTimeout, Error: "no answer"},
		} {
			r.At = l.o.Clock.Now()
			l.Offer(r)
			synctest.Wait()
		}
	})
	if got := strings.Join(heard, ","); got != ",range,timeout" {
		t.Errorf("heard %q", got)
	}
}
