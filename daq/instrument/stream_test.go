package instrument

import (
	"net"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
)

// bareStream is an instrument that sends a bare number: half a line fits it as
// well as a whole one.
func bareStream() config.Instrument {
	return config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: 200 * time.Millisecond, Stream: &config.Stream{Line: pattern("{value}"), End: []byte("\n")}}
}

// TestHalfALineIsNoValue holds that what is left of a line at the opening, and
// what ends a line after a time-out, or one that was too long, is never taken
// for a value: "9.9" of 19.9 is a number too.
func TestHalfALineIsNoValue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out, lines := &readings{}, make(chan string)
		s := &socket{serve: func(c net.Conn) {
			for text := range lines {
				if _, err := c.Write([]byte(text)); err != nil {
					return
				}
			}
		}}
		_, stop := start(t, busOptions(s, out, bareStream()))
		good := func() (numbers []float64) {
			for _, r := range out.of(quantity.Flow) {
				if r.Reason == "" {
					numbers = append(numbers, r.Number)
				}
			}
			return numbers
		}
		send := func(text string, then time.Duration) {
			lines <- text
			time.Sleep(then)
		}
		send("9.9\n", 100*time.Millisecond) // of 19.9, begun before the line was opened
		if got := good(); len(got) != 0 {
			t.Errorf("the rest of a line at the opening gave %v", got)
		}
		send("19.9\n", 100*time.Millisecond)
		send("1", time.Second) // the time is over
		r, _ := out.last(quantity.Flow)
		if r.Reason != daq.ReasonTimeout {
			t.Errorf("half a line: %+v", r)
		}
		send("8.8\n", 100*time.Millisecond)
		send("18.9\n", 100*time.Millisecond)
		send(strings.Repeat("1", maxAnswer+10), 50*time.Millisecond) // longer than any line
		send("7.7\n", 100*time.Millisecond)                          // its end
		send("17.9\n", 100*time.Millisecond)
		if got := good(); !slices.Equal(got, []float64{19.9, 18.9, 17.9}) {
			t.Errorf("the values are %v, want those of the whole lines: 19.9, 18.9, 17.9", got)
		}
		stop()
		close(lines)
		time.Sleep(time.Second) // lets the far end notice
	})
}

// TestProbeOfHalfALine holds the same for the verb probe.
func TestProbeOfHalfALine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &socket{serve: func(c net.Conn) {
			for _, text := range []string{"9.9\n", "19.9\n", "1", "8.8\n18.9\n"} {
				if _, err := c.Write([]byte(text)); err != nil {
					return
				}
				if text == "1" { // longer than the 500 ms of one exchange, shorter than two
					time.Sleep(700 * time.Millisecond)
				}
			}
		}}
		list := probeAll(t, s, bareStream(), 3)
		if list[0].reading.Number != 19.9 || !strings.Contains(list[1].reading.Error, "no whole line") || list[2].reading.Number != 18.9 {
			t.Errorf("%+v", list)
		}
		time.Sleep(time.Second) // lets the far end notice
	})
}
