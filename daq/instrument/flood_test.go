package instrument

import (
	"net"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// An instrument that sends good lines without a pause, some 1,900 a second as
// 115200 Bd can carry: a few of them in the time of every are readings.
func TestStreamWithoutAPause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: 200 * time.Millisecond,
			Stream: &config.Stream{Line: pattern("F={value}"), End: []byte("\n")}}
		out, over := &readings{}, make(chan struct{})
		s := &socket{serve: func(c net.Conn) {
			for {
				select {
				case <-over:
					return
				case <-time.After(520 * time.Microsecond):
				}
				if _, err := c.Write([]byte("F=1.2\n")); err != nil {
					return
				}
			}
		}}
		_, stop := start(t, busOptions(s, out, in))
		time.Sleep(20 * time.Second)
		close(over)
		stop()
		list := out.of(in.ID)
		for _, r := range list {
			if r.Reason != "" || r.Number != 1.2 {
				t.Fatalf("%+v", r)
			}
		}
		t.Logf("%d readings in 20 s", len(list))
		if len(list) < 300 || len(list) > 401 {
			t.Errorf("%d readings in 20 s, want some 400", len(list))
		}
	})
}
