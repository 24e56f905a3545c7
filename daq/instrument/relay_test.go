package instrument

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// wrote is what reached the relay, and when.
type wrote struct {
	on bool
	at time.Duration
}

// relayBench plays a permit output in virtual time.
type relayBench struct {
	relay   *Relay
	began   time.Time
	writes  []wrote
	answers []daq.Output
	fails   bool
}

func (b *relayBench) now() time.Duration { return time.Since(b.began) }

func (b *relayBench) write(_ context.Context, on bool) error {
	if b.fails {
		return errors.New("no answer from address 9")
	}
	b.writes = append(b.writes, wrote{on, b.now()})
	return nil
}

func playRelay(t *testing.T, play func(*relayBench)) *relayBench {
	t.Helper()
	b := &relayBench{}
	synctest.Test(t, func(t *testing.T) {
		b.began = time.Now()
		b.relay = NewRelay(RelayOptions{
			Trip: config.Trip{Refresh: time.Second, Watchdog: 3 * time.Second},
			Now:  b.now, Write: b.write,
			Answer: func(o daq.Output) { b.answers = append(b.answers, o) },
		})
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- b.relay.Run(ctx) }()
		play(b)
		cancel()
		<-done
	})
	return b
}

// steps plays an engine that steps each 200 ms.
func (b *relayBench) steps(length time.Duration, on bool) {
	for end := b.now() + length; b.now() < end; time.Sleep(200 * time.Millisecond) {
		b.relay.Demand(on, b.now()+400*time.Millisecond)
		synctest.Wait()
	}
}

func TestRelayRefreshesWhileTheEngineSteps(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		b.steps(5*time.Second, true)
		time.Sleep(10 * time.Second) // the engine hangs
	})
	var at []time.Duration
	for _, w := range b.writes[:len(b.writes)-1] {
		at = append(at, w.at.Round(time.Millisecond))
	}
	if want := []time.Duration{0, time.Second, 2 * time.Second, 3 * time.Second, 4 * time.Second}; !slices.Equal(at, want) {
		t.Errorf("refreshed at %v, want %v and nothing without a step", at, want)
	}
	if last := b.writes[len(b.writes)-1]; last.on {
		t.Error("the end of the program left the permit on")
	}
}

func TestRelayDropsAtOnce(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		b.steps(600*time.Millisecond, true)
		b.steps(200*time.Millisecond, false)
	})
	if len(b.writes) < 2 || b.writes[1] != (wrote{false, 600 * time.Millisecond}) {
		t.Errorf("writes %v, want a drop at 600 ms", b.writes)
	}
}

func TestRelayTriesADropAgain(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		b.steps(200*time.Millisecond, true)
		b.fails = true
		b.steps(400*time.Millisecond, false)
		b.fails = false
		b.steps(200*time.Millisecond, false)
	})
	if len(b.writes) < 2 || b.writes[1] != (wrote{false, 600 * time.Millisecond}) {
		t.Errorf("writes %v, want the drop with the next step at 600 ms", b.writes)
	}
	if n := len(b.answers); n < 4 || b.answers[1].Error == "" {
		t.Errorf("answers %v: a failed write must be told", b.answers)
	}
}

func TestRelayIgnoresAnOldStep(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		time.Sleep(10 * time.Second)
		b.relay.Demand(true, b.now()-time.Millisecond)
		synctest.Wait()
	})
	if len(b.writes) != 1 || b.writes[0].on {
		t.Errorf("writes %v: a step that is too old must refresh nothing", b.writes)
	}
}

// A relay whose line is missing: each answer is a step, and each step asks for
// the same drop. That must not become a whirl.
func TestRelayWithoutItsLine(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		b.fails = true
		for end := b.now() + time.Minute; b.now() < end; time.Sleep(time.Millisecond) {
			b.relay.Demand(false, 0)
			synctest.Wait()
		}
		b.fails = false
	})
	// Ten soon, and then one a refresh time of a second.
	if n := len(b.answers); n < 60 || n > 90 {
		t.Errorf("%d attempts in a minute", n)
	}
}

// An engine that steps as often as the relay is refreshed, a little unevenly:
// each step refreshes.
func TestRelayRefreshesAtTheEnginesPace(t *testing.T) {
	b := playRelay(t, func(b *relayBench) {
		for n := range 20 {
			time.Sleep(time.Second + time.Duration(n%3-1)*5*time.Millisecond)
			b.relay.Demand(true, b.now()+2*time.Second)
			synctest.Wait()
		}
	})
	if n := len(b.writes); n != 21 {
		t.Errorf("%d writes for 20 steps and the end", n)
	}
}
