package instrument

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// TestSilenceBeforeATextQuestion holds that between the end of an answer and the
// next question at least 3.5 characters pass: at 1200 Bd and 10 bits they are
// 29.2 ms (3.5 × 10 ÷ 1200 s).
func TestSilenceBeforeATextQuestion(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var answered time.Time
		least := time.Hour
		near, far := net.Pipe()
		go farEnd(far, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece {
			if !answered.IsZero() {
				least = min(least, time.Since(answered))
			}
			answered = time.Now()
			return now([]byte("T=1\r\n")...)
		})
		port := testPort("/dev/tc")
		port.Baud, port.Parity = 1200, config.NoParity
		w := newWire(near, port)
		in := query()
		for range 5 {
			if v, err := w.ask(&in); err != nil || v != 1 {
				t.Fatalf("%v, %v", v, err)
			}
		}
		if want := 3500 * 10 * time.Millisecond / 1200; least < want-time.Microsecond || least > 2*want {
			t.Errorf("the next question came after %v, want %v", least, want)
		}
		near.Close()
		far.Close()
	})
}

// TestRelayWithoutCoilRead holds that on a line of which nobody knows whether it
// echoes, a relay that refuses to read its coil is written all the same, and that
// its confirmation, which looks like an echo, counts.
func TestRelayWithoutCoilRead(t *testing.T) {
	for _, refuses := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			near, far := net.Pipe()
			writes := 0
			go farEnd(far, func(buf []byte) int { return len(buf) / 8 * 8 }, func(request []byte) []piece {
				if request[1] == modbus.WriteSingleCoil {
					writes++
					return now(request...)
				}
				if !refuses {
					return nil // it does not answer a read at all
				}
				return now(modbus.ExceptionResponse(request[0], request[1], 1)...)
			})
			w := newWire(near, testPort("/dev/bus"))
			for range 2 {
				if err := w.writeCoil(t.Context(), 9, 0, true); err != nil {
					t.Errorf("refuses %v: %v", refuses, err)
				}
			}
			if writes != 2 {
				t.Errorf("refuses %v: %d writes, want 2", refuses, writes)
			}
			near.Close()
			far.Close()
		})
	}
}

// TestEchoIsNoConfirmation holds that on a line that echoes the echo of a write
// alone does not count as the relay's word.
func TestEchoIsNoConfirmation(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		dead := false
		go farEnd(far, func(buf []byte) int { return len(buf) / 8 * 8 }, func(request []byte) []piece {
			pieces := now(request...) // the adapter's echo
			switch {
			case dead:
			case request[1] == modbus.WriteSingleCoil:
				pieces = append(pieces, now(request...)...)
			default:
				pieces = append(pieces, now(modbus.ReadResponse(request[0], request[1], []byte{0})...)...)
			}
			return pieces
		})
		w := newWire(near, testPort("/dev/bus"))
		if err := w.writeCoil(t.Context(), 9, 0, true); err != nil {
			t.Errorf("a living relay: %v", err)
		}
		dead = true
		if err := w.writeCoil(t.Context(), 9, 0, true); err == nil || !strings.Contains(err.Error(), "only the adapter's echo") {
			t.Errorf("a dead relay: %v", err)
		}
		near.Close()
		far.Close()
	})
}

// TestARefusedNeighbourIsAskedAlone holds that numbers which are read together
// are asked one by one where the slave refuses the request for its registers or
// its count (exceptions 2 and 3), and are not where it refuses for another
// reason (MODBUS application protocol V1.1b3, 7).
func TestARefusedNeighbourIsAskedAlone(t *testing.T) {
	for code, alone := range map[byte]bool{1: false, 2: true, 3: true, 4: false, 6: false} {
		synctest.Test(t, func(t *testing.T) {
			far, out := newSlaves(), &readings{}
			far.setFloat(1, 0, 1.2)
			far.setFloat(1, 2, 42)
			far.setFault(func(r modbus.Request, frame []byte) []byte {
				if r.Count > 2 {
					return modbus.ExceptionResponse(1, r.Function, code)
				}
				return frame
			})
			s := &socket{serve: func(c net.Conn) { far.serve(c) }}
			_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Temperature, 1, 2, 200*time.Millisecond)))
			time.Sleep(2 * time.Second)
			stop()
			for _, id := range []quantity.ID{quantity.Flow, quantity.Temperature} {
				r, _ := out.last(id)
				if (r.Reason == "") != alone || !alone && r.Reason != daq.ReasonException {
					t.Errorf("exception %d: %s is %+v", code, id.Short(), r)
				}
			}
			time.Sleep(time.Second) // lets the far end notice
		})
	}
}

// TestPermitWriteEndsWithItsStep holds that a permit write which does not get
// its turn on a busy line ends when its step is too old, and never later by
// itself: the engine's word of then is no word of now.
func TestPermitWriteEndsWithItsStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		var ended []time.Duration
		r := NewRelay(RelayOptions{
			Trip: config.Trip{Refresh: time.Second, Watchdog: 3 * time.Second},
			Now:  func() time.Duration { return time.Since(began) },
			Write: func(ctx context.Context, on bool) error {
				<-ctx.Done() // the line is busy with others
				if on {
					ended = append(ended, time.Since(began))
				}
				return ctx.Err()
			},
			Answer: func(o daq.Output) {
				if o.Error == "" {
					t.Errorf("a write that was never made is confirmed: %+v", o)
				}
			},
		})
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- r.Run(ctx) }()
		r.Demand(true, 400*time.Millisecond)
		time.Sleep(5 * time.Second)
		cancel()
		if err := <-done; err != nil && !errors.Is(err, context.Canceled) {
			t.Log(err)
		}
		if len(ended) != 1 || ended[0] != 400*time.Millisecond {
			t.Errorf("writes that give the permit ended at %v, want one at 400 ms", ended)
		}
	})
}
