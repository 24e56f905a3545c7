package instrument

import (
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

func probeAll(t *testing.T, s *socket, in config.Instrument, count int) []exchange {
	t.Helper()
	var list []exchange
	if err := probe(t.Context(), testPort("/dev/bus"), in, s.open, count, func(_ *prober, x exchange) { list = append(list, x) }); err != nil {
		t.Error(err)
	}
	if len(list) != count {
		t.Fatalf("%d exchanges, want %d", len(list), count)
	}
	return list
}

// Oracle: 25.5 in ABCD order, frame and CRC computed by an independent program
// (see package modbus).
func TestProbeModbus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far := newSlaves()
		far.setFloat(1, 0, 25.5)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		for _, x := range probeAll(t, s, register(quantity.Temperature, 1, 0, time.Second), 3) {
			sent, received := fmt.Sprintf("% X", x.Sent), fmt.Sprintf("% X", x.Received)
			if sent[:17] != "01 04 00 00 00 02" || received != "01 04 04 41 CC 00 00 2F 87" || x.reading.Number != 25.5 || x.err != nil {
				t.Errorf("%s → %s, %+v, %v", sent, received, x.reading, x.err)
			}
		}
		far.setMute(1, true)
		if x := probeAll(t, s, register(quantity.Temperature, 1, 0, time.Second), 1)[0]; x.reading.Reason != daq.ReasonTimeout || x.reading.Took < 100*time.Millisecond || x.err == nil {
			t.Errorf("silence: %+v", x)
		}
	})
}

func TestProbeTextAndStream(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := &talker{send: []byte("T?\r"), answer: []byte("T=1.234\r\n")}
		s := &socket{serve: func(c net.Conn) { a.serve(c) }}
		x := probeAll(t, s, query(), 2)[1]
		if string(x.Sent) != "T?\r" || string(x.Received) != "T=1.234\r\n" || x.reading.Number != 1.234 {
			t.Errorf("%q → %q, %+v", x.Sent, x.Received, x.reading)
		}
		talk := &socket{serve: func(c net.Conn) {
			for i := 0; ; i++ {
				if _, err := fmt.Fprintf(c, "F=%d\n", i); err != nil {
					return
				}
				time.Sleep(100 * time.Millisecond)
			}
		}}
		in := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: 100 * time.Millisecond, Stream: &config.Stream{Line: pattern("F={value}"), End: []byte("\n")}}
		for i, x := range probeAll(t, talk, in, 3) {
			if want := fmt.Sprintf("F=%d\n", i+1); string(x.Received) != want || x.reading.Number != float64(i+1) {
				t.Errorf("%q, %+v, want %q", x.Received, x.reading, want)
			}
		}
		time.Sleep(time.Second) // lets the far ends notice
	})
}

func query() config.Instrument {
	return config.Instrument{
		ID: quantity.Temperature, Name: "temperature", Port: "bus", Every: 200 * time.Millisecond,
		Query: &config.Query{Send: []byte("T?\r"), Reply: pattern("T={value}"), End: []byte("\r\n")},
	}
}

func TestProbeWithoutALine(t *testing.T) {
	s := &socket{out: true}
	err := probe(t.Context(), testPort("/dev/bus"), query(), s.open, 1, func(*prober, exchange) {})
	if err == nil || !strings.Contains(err.Error(), "probe: bus: /dev/bus: open: no such device") {
		t.Errorf("got %v", err)
	}
}

// The probe shows all that came for a question, each byte with the exchange that it
// belongs to: here three lines where one was asked for.
func TestProbeShowsAllThatCame(t *testing.T) {
	const lines = "T=1\r\nT=2\r\nT=3\r\n"
	for _, watched := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			s := &socket{serve: func(c net.Conn) {
				farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func([]byte) []piece {
					return []piece{{time.Millisecond, []byte(lines[:5])}, {time.Millisecond, []byte(lines[5:10])}, {time.Millisecond, []byte(lines[10:])}}
				})
			}}
			open := s.open
			if watched {
				open = func(p config.Port) (Line, error) {
					line, err := s.open(p)
					return &watchedLine{Conn: line.(net.Conn)}, err
				}
			}
			n := 0
			err := probe(t.Context(), testPort("/dev/tc"), query(), open, 3, func(_ *prober, x exchange) {
				n++
				if string(x.Received) != lines || x.reading.Reason != daq.ReasonProtocol {
					t.Errorf("line watched %v, exchange %d: %q, %+v", watched, n, x.Received, x.reading)
				}
			})
			if err != nil || n != 3 {
				t.Errorf("%d exchanges, %v", n, err)
			}
			s.pull()
			time.Sleep(time.Second) // the far end notices
		})
	}
}
