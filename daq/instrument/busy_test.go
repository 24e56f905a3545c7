package instrument

import (
	"context"
	"net"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/clock"
	"flowrigd/daq/modbus"
)

// A second of this clock is a millisecond of the machine's: whatever a busy
// machine holds up for longer would be late, were it not waited for.
func hastened() *clock.Clock {
	c := clock.NewFast(1000)
	c.Start()
	return c
}

// A write to the relay that a busy machine holds up: the clock waits for it, while
// the engine goes on stepping, and the next write comes in time.
func TestAFastClockWaitsForTheRelay(t *testing.T) {
	const held = 1500 * time.Millisecond
	synctest.Test(t, func(t *testing.T) {
		rig := hastened()
		var confirmed []time.Duration
		relay := NewRelay(RelayOptions{
			Trip: config.Trip{Refresh: time.Second, Watchdog: 3 * time.Second}, Now: rig.Now, Clock: rig,
			Write: func(ctx context.Context, _ bool) error {
				select {
				case <-time.After(held):
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			},
			Answer: func(o daq.Output) {
				if o.Error == "" {
					confirmed = append(confirmed, rig.Now())
				}
			},
		})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- relay.Run(ctx) }()
		engine := rig.Worker()
		for range 30_000 { // steps of an engine that is never late
			at := rig.Now()
			engine.Due(at + 200*time.Millisecond)
			relay.Demand(true, at+400*time.Millisecond)
			time.Sleep(time.Millisecond)
		}
		engine.End()
		cancel()
		<-ended // a drop that is held up as long is not confirmed
		if len(confirmed) < 10 {
			t.Fatalf("%d confirmations", len(confirmed))
		}
		for i, at := range confirmed[1:] {
			if gap := at - confirmed[i]; gap > 2*time.Second {
				t.Errorf("no confirmation for %v of the rig's", gap)
			}
		}
	})
}

// An instrument that a busy machine makes miss every other time-out is
// asked again in time, and for longer. One that is dead holds nobody up.
func TestABusyMachineSilencesNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked, dead := 0, atomic.Bool{}
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece {
				if asked++; dead.Load() || asked%2 == 1 {
					return nil
				}
				return []piece{{700 * time.Millisecond, []byte("T=1\r\n")}}
			})
		}}
		out := &readings{}
		o := busOptions(s, out, question(quantity.Temperature, "T", 500*time.Millisecond))
		o.Clock, o.Ports[0].Timeout = hastened(), 200*time.Millisecond
		_, stop := start(t, o)
		time.Sleep(20 * time.Second)
		goodEvery(t, out.of(quantity.Temperature), 10, 2*time.Second)
		dead.Store(true)
		time.Sleep(time.Minute) // until it counts as dead, and the slow answers are forgotten
		was := len(out.of(quantity.Temperature))
		time.Sleep(10 * time.Second)
		if n := len(out.of(quantity.Temperature)) - was; n < 80 {
			t.Errorf("a dead one was asked %d times in 10 s", n)
		}
		stop()
	})
}

// Nor does one become stale whose late answer spoils the next: it is given longer
// until an answer is good.
func TestABusyMachineMakesNobodyStale(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked := 0
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece {
				takes, answer := 5*time.Millisecond, "T=1\r\n"
				switch asked++; asked {
				case 50:
					return nil
				case 51:
					answer = "T#1\r\n"
				case 52:
					takes = 700 * time.Millisecond
				}
				return []piece{{takes, []byte(answer)}}
			})
		}}
		out := &readings{}
		o := busOptions(s, out, question(quantity.Temperature, "T", 200*time.Millisecond))
		o.Clock, o.Ports[0].Timeout = hastened(), 200*time.Millisecond
		_, stop := start(t, o)
		time.Sleep(20 * time.Second)
		stop()
		time.Sleep(time.Second) // lets the far end notice
		goodEvery(t, out.of(quantity.Temperature), 60, 700*time.Millisecond)
	})
}

// goodEvery: there are at least so many good readings, and none of them comes later.
func goodEvery(t *testing.T, list []daq.Reading, least int, gap time.Duration) {
	t.Helper()
	if len(list) == 0 {
		t.Fatal("no readings")
	}
	good, before := 0, list[0].At
	for _, r := range list {
		if r.Reason != "" {
			continue
		}
		if is := r.At - before; is > gap {
			t.Errorf("no good reading for %v of the rig's", is)
		}
		good, before = good+1, r.At
	}
	if good < least {
		t.Errorf("%d good readings, want %d", good, least)
	}
}

// A busy machine makes a full line no slower by the clock: everybody is asked in time.
func TestABusyMachineSlowsNoLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked := 0
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func(request []byte) []piece {
				takes := 80 * time.Millisecond
				if asked++; asked%3 == 0 {
					takes = 250 * time.Millisecond
				}
				return []piece{{takes, []byte{request[0], '=', '1', '\r', '\n'}}}
			})
		}}
		out, all := &readings{}, []quantity.ID{quantity.Flow, quantity.Level, quantity.Ambient, quantity.Temperature}
		var instruments []config.Instrument
		for i, id := range all {
			instruments = append(instruments, question(id, "FLAT"[i:i+1], 200*time.Millisecond))
		}
		o := busOptions(s, out, instruments...)
		o.Clock, o.Ports[0].Timeout = hastened(), 200*time.Millisecond
		_, stop := start(t, o)
		time.Sleep(20 * time.Second)
		stop()
		time.Sleep(time.Second) // lets the far end notice
		for _, id := range all {
			list := out.of(id)
			goodEvery(t, list, 30, 500*time.Millisecond)
			for _, r := range list {
				if r.Reason != "" {
					t.Errorf("%+v", r)
				}
			}
		}
	})
}

// An answer that is late by the clock is as good as at speed 1 until the time-out.
func TestAFastClockKeepsTheTimeout(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rig := clock.NewFast(10)
		rig.Start()
		late, ended := 150*time.Millisecond, atomic.Bool{}
		s := &socket{serve: func(c net.Conn) {
			heard := make([]byte, 16)
			for {
				if _, err := c.Read(heard); err != nil {
					return
				}
				for at := rig.Now() + late; rig.Now() < at && !ended.Load(); {
					time.Sleep(time.Millisecond)
				}
				if _, err := c.Write([]byte("T=1\r\n")); err != nil {
					return
				}
			}
		}}
		out := &readings{}
		o := busOptions(s, out, question(quantity.Temperature, "T", time.Second))
		o.Clock, o.Ports[0].Timeout = rig, 200*time.Millisecond
		_, stop := start(t, o)
		time.Sleep(5 * time.Second)
		stop()
		ended.Store(true)
		time.Sleep(time.Second) // lets the far end notice
		for _, r := range out.of(quantity.Temperature) {
			if r.Reason != "" {
				t.Errorf("%+v", r)
			}
		}
		goodEvery(t, out.of(quantity.Temperature), 20, 1500*time.Millisecond)
	})
}

// A write that was not confirmed is given longer as well.
func TestABusyMachineLosesNoWrite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		writes, dead := 0, atomic.Bool{}
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, modbusRequestSize, func(request []byte) []piece {
				if request[1] != modbus.WriteSingleCoil {
					return nil // the read that looks for an echo
				}
				if writes++; writes == 1 || dead.Load() {
					return nil
				}
				return []piece{{700 * time.Millisecond, request}}
			})
		}}
		o := busOptions(s, &readings{})
		o.Clock, o.Ports[0].Timeout = hastened(), 200*time.Millisecond
		m, stop := start(t, o)
		synctest.Wait()
		write := func() error { return m.WriteCoil(t.Context(), "bus", 9, 0, true) }
		unanswered := func() {
			began := time.Now()
			if err := write(); err == nil {
				t.Error("a write without an answer is confirmed")
			}
			if took := time.Since(began); took > 300*time.Millisecond {
				t.Errorf("a write without an answer took %v", took)
			}
		}
		unanswered()
		if err := write(); err != nil {
			t.Errorf("the second write: %v", err)
		}
		dead.Store(true)
		for range deadAfter {
			_ = write() // until it counts as dead
		}
		unanswered()
		stop()
	})
}

// The clock waits for lines that come unprompted, and not for an instrument that
// has fallen silent.
func TestAFastClockWaitsForAStream(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		again := make(chan struct{})
		s := &socket{serve: func(c net.Conn) {
			for n := range 200 {
				if n == 100 {
					<-again
				}
				time.Sleep(60 * time.Millisecond) // a minute of the clock's
				if n%20 == 19 {
					time.Sleep(800 * time.Millisecond)
				}
				if _, err := c.Write([]byte("19.9\n")); err != nil {
					return
				}
			}
		}}
		in, out, rig := bareStream(), &readings{}, hastened()
		in.Every = time.Second
		o := busOptions(s, out, in)
		o.Clock = rig
		_, stop := start(t, o)
		time.Sleep(10100 * time.Millisecond)
		goodEvery(t, out.of(quantity.Flow), 90, 3*time.Second)
		before := rig.Now()
		time.Sleep(5 * time.Second)
		if passed := rig.Now() - before; passed < 30*time.Second {
			t.Errorf("a silent stream lets the clock go on by %v in 5 s", passed)
		}
		was := len(out.of(quantity.Flow))
		close(again)
		time.Sleep(9 * time.Second)
		goodEvery(t, out.of(quantity.Flow)[was+2:], 80, 3*time.Second)
		stop()
		time.Sleep(time.Second) // lets the far end notice
	})
}
