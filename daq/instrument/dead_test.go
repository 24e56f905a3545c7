package instrument

import (
	"bytes"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// oneLives answers the questions of one letter and leaves the others unanswered.
func oneLives(c net.Conn, letter byte) {
	farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func(request []byte) []piece {
		if request[0] != letter {
			return nil
		}
		return now([]byte{letter, '=', '1', '\r', '\n'}...)
	})
}

func question(id quantity.ID, letter string, every time.Duration) config.Instrument {
	return config.Instrument{ID: id, Name: id.Short(), Port: "bus", Every: every,
		Query: &config.Query{Send: []byte(letter + "?\r"), Reply: pattern(letter + "={value}"), End: []byte("\r\n")}}
}

// Dead instruments do not slow the living one on a line of text: of its due
// times in a minute it misses few, whatever the timeout and however many died.
func TestDeadTextInstrumentsDoNotSlowTheOthers(t *testing.T) {
	dead := []config.Instrument{
		question(quantity.Flow, "F", 200*time.Millisecond), question(quantity.Level, "L", 200*time.Millisecond),
		question(quantity.Ambient, "A", 200*time.Millisecond),
	}
	for _, c := range []struct {
		name    string
		dead    int
		timeout time.Duration
		least   int // of 301 readings
	}{
		{"one", 1, 200 * time.Millisecond, 299},
		{"three", 3, 200 * time.Millisecond, 290},
		{"one with a long timeout", 1, time.Second, 225},
		{"three with a long timeout", 3, time.Second, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				out := &readings{}
				s := &socket{serve: func(conn net.Conn) { oneLives(conn, 'T') }}
				o := busOptions(s, out, append(dead[:c.dead:c.dead], question(quantity.Temperature, "T", 200*time.Millisecond))...)
				o.Ports[0].Timeout = c.timeout
				_, stop := start(t, o)
				time.Sleep(time.Minute + 100*time.Millisecond)
				stop()
				n, longest := 0, time.Duration(0)
				before := time.Duration(0)
				for _, r := range out.of(quantity.Temperature) {
					if r.Reason != "" {
						t.Fatalf("%+v", r)
					}
					longest, before, n = max(longest, r.At-before), r.At, n+1
				}
				probes := len(out.of(quantity.Flow))
				t.Logf("%d of 301 readings, the longest gap %v; the dead one was asked %d times", n, longest, probes)
				if n < c.least || probes < 5 {
					t.Errorf("%d readings, want %d; %d probes", n, c.least, probes)
				}
			})
		})
	}
}

// Where all are dead nobody is spared: each is good again within 2 s of its
// return.
func TestAllDeadComeBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out, plugged := &readings{}, make(chan struct{})
		s := &socket{serve: func(c net.Conn) {
			farEnd(c, func(buf []byte) int { return len(buf) / 3 * 3 }, func(request []byte) []piece {
				select {
				case <-plugged:
					return now(append(bytes.Clone(request[:1]), "=1\r\n"...)...)
				default:
					return nil
				}
			})
		}}
		o := busOptions(s, out, question(quantity.Flow, "F", 200*time.Millisecond), question(quantity.Level, "L", 200*time.Millisecond), question(quantity.Temperature, "T", 200*time.Millisecond))
		o.Ports[0].Timeout = 200 * time.Millisecond
		_, stop := start(t, o)
		time.Sleep(20 * time.Second)
		close(plugged)
		time.Sleep(2 * time.Second)
		stop()
		for _, id := range []quantity.ID{quantity.Flow, quantity.Level, quantity.Temperature} {
			if r, _ := out.last(id); r.Reason != "" {
				t.Errorf("%s: %+v", id.Short(), r)
			}
		}
	})
}
