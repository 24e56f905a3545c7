package instrument

import (
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
)

// TestSwappedPlugs holds that an instrument which hears what another one sends
// says so: the flow's stream stands on the thermometer's line, and the other way
// round; and that a line which fits nobody does not.
func TestSwappedPlugs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		talk := func(text string) *socket {
			return &socket{serve: func(c net.Conn) {
				go func() { _, _ = io.Copy(io.Discard, c) }()
				for {
					if _, err := io.WriteString(c, text); err != nil {
						return
					}
					time.Sleep(70 * time.Millisecond)
				}
			}}
		}
		sockets := map[string]*socket{"flow": talk("T=25.5\r\n"), "level": talk("noise\n"), "tc": talk("F=1.2\n"), "bus": talk("F=1.2\n")}
		port := func(name string) config.Port {
			p := testPort(name)
			p.Name = name
			return p
		}
		flow := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "flow", Every: 200 * time.Millisecond, Stream: &config.Stream{Line: pattern("F={value}"), End: []byte("\n")}}
		level := config.Instrument{ID: quantity.Level, Name: "level", Port: "level", Every: 200 * time.Millisecond, Stream: &config.Stream{Line: pattern("L={value}"), End: []byte("\n")}}
		thermo := query()
		thermo.Port, thermo.Query.End = "tc", []byte("\n")
		tank := register(quantity.Tank, 1, 0, 200*time.Millisecond)
		thermo.Query.Reply = pattern("T={value}\r")
		out := &readings{}
		_, stop := start(t, Options{
			Ports:       []config.Port{port("flow"), port("level"), port("tc"), port("bus")},
			Instruments: []config.Instrument{flow, level, thermo, tank},
			Open:        func(p config.Port) (Line, error) { return sockets[p.Device].open(p) }, Out: out.add,
		})
		time.Sleep(3 * time.Second)
		stop()
		time.Sleep(time.Second) // lets the far ends notice
		for id, want := range map[quantity.ID]string{
			quantity.Flow:        "fits instruments.temperature of ports.tc: are the plugs of the two swapped?",
			quantity.Temperature: "fits instruments.flow of ports.flow: are the plugs of the two swapped?",
			quantity.Tank:        "fits instruments.flow of ports.flow: are the plugs of the two swapped?",
			quantity.Level:       "",
		} {
			list := out.of(id)
			last := list[len(list)-1].Error
			if last == "" || want == "" && strings.Contains(last, "swapped") || !strings.Contains(last, want) {
				t.Errorf("%s: %q, want %q", id.Short(), last, want)
			}
		}
	})
}
