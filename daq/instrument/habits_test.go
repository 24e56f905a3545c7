package instrument

import (
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// Habits of text instruments and adapters: what they send for a question, and
// what must come of it.
func TestHabitsOfTextInstruments(t *testing.T) {
	for _, c := range []struct {
		name, send, reply, end string
		answer                 []piece
		want                   float64 // where fault is ""
		fault                  string  // part of the sentence
	}{
		{"echo with a line feed of its own", "T?\r", "T={value}", "\r\n", now([]byte("T?\r\nT=25.5\r\n")...), 25.5, ""},
		{"echo, its end doubled", "T?\r", "T={value}", "\r\n", now([]byte("T?\r\r\nT=25.5\r\n")...), 25.5, ""},
		{"the end of a line in front", "T?\r", "T={value}", "\r\n", now([]byte("\r\nT=25.5\r\n")...), 25.5, ""},
		{"echo, then an empty line", "T?\r\n", "T={value}", "\r\n", now([]byte("T?\r\n\r\nT=25.5\r\n")...), 25.5, ""},
		{"an echo that fits the pattern", "M1\r", "M{value}", "\r", []piece{{0, []byte("M1\r")}, {50 * time.Millisecond, []byte("M25.5\r")}}, 25.5, ""},
		{"an echo that is a number", "1\r", "{value}", "\r", []piece{{0, []byte("1\r")}, {50 * time.Millisecond, []byte("25.5\r")}}, 25.5, ""},
		{"an echo that is a number, and no answer", "1\r", "{value}", "\r", now([]byte("1\r")...), 0, "only its echo"},
		{"empty lines and no answer", "T?\r", "T={value}", "\r\n", now([]byte("\r\n\r\n\r\n")...), 0, "no answer to"},
		{"two echoes", "T?\r", "T={value}", "\r\n", now([]byte("T?\r\nT?\r\nT=25.5\r\n")...), 0, "more than one line came"},
		{"an end that is longer than written", "T?\r", "T={value}", "\r", now([]byte("T=25.5\r\n")...), 0, `"\n" stands behind the end "\r" of the line; write the end as the instrument sends it, such as end = "\r\n"`},
		{"two answers", "T?\r", "T={value}", "\r\n", now([]byte("T=25.5\r\nT=26.5\r\n")...), 0, "more than one line came"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				in := config.Instrument{ID: quantity.Temperature, Name: "temperature", Port: "bus", Every: time.Second,
					Query: &config.Query{Send: []byte(c.send), Reply: pattern(c.reply), End: []byte(c.end)}}
				out := &readings{}
				s := &socket{serve: func(conn net.Conn) {
					farEnd(conn, func(buf []byte) int { return len(buf) / len(c.send) * len(c.send) }, func([]byte) []piece { return c.answer })
				}}
				_, stop := start(t, busOptions(s, out, in))
				time.Sleep(20 * time.Second)
				stop()
				for _, r := range out.of(in.ID) {
					if c.fault == "" && (r.Reason != "" || r.Number != c.want) || c.fault != "" && (r.Reason == "" || !strings.Contains(r.Error, c.fault)) {
						t.Fatalf("%+v", r)
					}
				}
				if len(out.of(in.ID)) < 5 {
					t.Errorf("%d readings", len(out.of(in.ID)))
				}
			})
		})
	}
}
