//go:build linux

package instrument

import (
	"os"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// pause sleeps in the kernel until a time: time.Sleep comes up to a
// millisecond late. The last tenths of a millisecond are spun, so that the line
// is no slower than it says.
func pause(until time.Time) {
	if d := time.Until(until) - 200*time.Microsecond; d > 0 {
		ts := unix.NsecToTimespec(int64(d))
		unix.Nanosleep(&ts, nil)
	}
	for time.Now().Before(until) {
	}
}

// pacedSlaves answers like slaves on a line of the given speed: a request takes
// its time to arrive, the slave waits 3.5 characters, and the answer takes its
// time. Each part ends exactly when the line would end it.
func pacedSlaves(f *os.File, s *slaves, character, silence time.Duration) {
	buf := make([]byte, 0, 64)
	in := make([]byte, 64)
	for {
		n, err := f.Read(in)
		if err != nil {
			return
		}
		sent := time.Now()
		buf = append(buf, in[:n]...)
		if len(buf) < 8 {
			continue
		}
		r, err := modbus.ParseRequest(buf[:8])
		buf = buf[:0]
		if err != nil {
			continue
		}
		out := s.answer(r)
		pause(sent.Add(8*character + silence + time.Duration(len(out))*character))
		if _, err := f.Write(out); err != nil {
			return
		}
	}
}

// BenchmarkLineUse prints what part of the line's limit three slaves of two
// registers each reach: the limit is bytes × bits a character ÷ baud plus two
// silences a poll.
func BenchmarkLineUse(b *testing.B) {
	for _, k := range []struct {
		name   string
		baud   int
		parity config.Parity
		bits   int
	}{{"19200-8E1", 19200, config.EvenParity, 11}, {"115200-8N1", 115200, config.NoParity, 10}} {
		b.Run(k.name, func(b *testing.B) { lineUse(b, k.baud, k.parity, k.bits) })
	}
}

func lineUse(b *testing.B, baud int, parity config.Parity, bits int) {
	x := newTerminal(b)
	far := newSlaves()
	var list []config.Instrument
	for address := range byte(3) {
		far.setFloat(address+1, 0, 1.5)
		list = append(list, register(quantity.ID(address), address+1, 0, time.Millisecond))
	}
	port := testPort(x.device)
	port.Baud, port.Parity = baud, parity
	character, silence := port.Character(), port.Silence()
	go pacedSlaves(x.far, far, character, silence)
	var good, bad atomic.Int64
	stop := startReal(b, Options{
		Ports: []config.Port{port}, Instruments: list,
		Out: func(r daq.Reading) {
			if r.Reason == "" {
				good.Add(1)
			} else {
				bad.Add(1)
			}
		},
	})
	for end := time.Now().Add(2 * time.Second); good.Load() < 10 && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	began, first := time.Now(), good.Load()
	for good.Load() < first+int64(b.N) && time.Since(began) < time.Minute {
		time.Sleep(time.Millisecond)
	}
	took := time.Since(began)
	polls := good.Load() - first
	stop()
	limit := 17*character + 2*silence // 8 bytes of request, 9 of answer
	b.ReportMetric(float64(polls)*limit.Seconds()/took.Seconds(), "of-limit")
	b.ReportMetric(float64(polls)/took.Seconds(), "polls/s")
	b.ReportMetric(1/limit.Seconds(), "limit-polls/s")
	b.ReportMetric(float64(bad.Load()), "bad")
}

// BenchmarkFourNeighbours prints how many requests four neighbouring floats
// cost: one.
func BenchmarkFourNeighbours(b *testing.B) {
	var list []config.Instrument
	for i := range 4 {
		list = append(list, register(quantity.ID(i), 1, uint16(2*i), time.Second))
	}
	polls := 0
	for range b.N {
		polls = len(plan(list))
	}
	b.ReportMetric(float64(polls), "requests")
	if polls != 1 {
		b.Fatalf("%d requests", polls)
	}
}
