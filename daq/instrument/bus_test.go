package instrument

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/modbus"
)

// log collects readings.
type readings struct {
	mu   sync.Mutex
	list []daq.Reading
}

func (r *readings) add(x daq.Reading) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.list = append(r.list, x)
}

func (r *readings) of(id quantity.ID) []daq.Reading {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []daq.Reading
	for _, x := range r.list {
		if x.Instrument == id {
			out = append(out, x)
		}
	}
	return out
}

func (r *readings) last(id quantity.ID) (daq.Reading, bool) {
	list := r.of(id)
	if len(list) == 0 {
		return daq.Reading{}, false
	}
	return list[len(list)-1], true
}

// socket is a line in memory that can be pulled and put back.
type socket struct {
	mu    sync.Mutex
	serve func(net.Conn)
	out   bool
	far   []net.Conn
	opens int
}

func (s *socket) open(port config.Port) (Line, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.out {
		return nil, fmt.Errorf("%s: open: %w", port.Device, errors.New("no such device"))
	}
	near, far := net.Pipe()
	s.opens++
	s.far = append(s.far, far)
	go s.serve(far)
	return near, nil
}

func (s *socket) pull() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.out = true
	for _, c := range s.far {
		c.Close()
	}
	s.far = nil
}

func (s *socket) plug() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.out = false
}

func register(id quantity.ID, address byte, register uint16, every time.Duration) config.Instrument {
	return config.Instrument{
		ID: id, Name: id.Short(), Port: "bus", Every: every,
		Modbus: &config.Modbus{Address: address, Register: register, Type: config.Float32},
	}
}

// start runs a manager in a bubble; stop ends it and waits.
func start(t *testing.T, o Options) (m *Manager, stop func()) {
	t.Helper()
	began := time.Now()
	o.Now = func() time.Duration { return time.Since(began) }
	if o.Clock != nil {
		o.Now = o.Clock.Now
	}
	m, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- m.Run(ctx) }()
	return m, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

func busOptions(s *socket, out *readings, instruments ...config.Instrument) Options {
	return Options{Ports: []config.Port{testPort("/dev/bus")}, Instruments: instruments, Open: s.open, Out: out.add}
}

func TestPollsStayOnTheirGrid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(2, 0, 42)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Temperature, 2, 0, 500*time.Millisecond)))
		time.Sleep(time.Hour + 100*time.Millisecond)
		stop()
		flow := out.of(quantity.Flow)
		if want := 5*3600 + 1; len(flow) != want {
			t.Errorf("%d readings of the flow in an hour, want %d", len(flow), want)
		}
		if n, want := len(out.of(quantity.Temperature)), 2*3600+1; n != want {
			t.Errorf("%d readings of the temperature, want %d", n, want)
		}
		for n, r := range flow {
			if late := r.At - time.Duration(n)*200*time.Millisecond; late < 0 || late > 10*time.Millisecond || r.Reason != "" {
				t.Fatalf("reading %d: late by %v, %+v", n, late, r)
			}
		}
		if r := flow[0]; float32(r.Number) != 1.2 {
			t.Errorf("number %v", r.Number)
		}
	})
}

func TestNeighboursShareOneRequest(t *testing.T) {
	list := []config.Instrument{
		register(quantity.Level, 1, 4, time.Second), register(quantity.Flow, 1, 0, time.Second),
		register(quantity.Temperature, 1, 2, time.Second), register(quantity.Ambient, 1, 6, time.Second),
		register(quantity.Tank, 1, 9, time.Second), register(quantity.HeaterOutlet, 2, 8, time.Second),
		register(quantity.SupplyFlow, 1, 11, 2*time.Second),
	}
	var got []string
	for _, p := range plan(list) {
		names := ""
		for _, in := range p.members {
			names += " " + in.Name
		}
		got = append(got, fmt.Sprintf("% X:%s", p.request[:6], names))
	}
	want := []string{
		"01 04 00 00 00 08: flow temperature level ambient",
		"01 04 00 09 00 02: tank",
		"01 04 00 0B 00 02: supply_flow",
		"02 04 00 08 00 02: heater_outlet",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	var many []config.Instrument
	for i := range 70 {
		many = append(many, register(quantity.Flow, 1, uint16(2*i), time.Second))
	}
	if p := plan(many); len(p) != 2 || len(p[0].members) != 62 {
		t.Errorf("140 registers in %d requests", len(p))
	}
}

// A register that the slave does not have must not take its neighbours with it.
func TestNeighboursArePartedWhenRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(1, 2, 42)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Temperature, 1, 2, 200*time.Millisecond), register(quantity.Level, 1, 4, 200*time.Millisecond)))
		time.Sleep(time.Second)
		stop()
		for id, want := range map[quantity.ID]float32{quantity.Flow: 1.2, quantity.Temperature: 42} {
			if r, _ := out.last(id); r.Reason != "" || float32(r.Number) != want {
				t.Errorf("%s: %+v", id.Short(), r)
			}
		}
		if r, _ := out.last(quantity.Level); r.Reason != daq.ReasonException {
			t.Errorf("the one that is not there: %+v", r)
		}
	})
}

func TestDeadInstrumentDoesNotSlowTheOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(2, 0, 42)
		far.setMute(2, true)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Temperature, 2, 0, 200*time.Millisecond)))
		time.Sleep(time.Minute + 100*time.Millisecond)
		if n := len(out.of(quantity.Flow)); n < 300 {
			t.Errorf("%d readings of the living one in a minute, want 301", n)
		}
		dead := out.of(quantity.Temperature)
		if len(dead) < 60 {
			t.Errorf("the dead one was probed %d times in a minute", len(dead))
		}
		if r := dead[len(dead)-1]; r.Reason != daq.ReasonTimeout || r.Error != "no answer from address 2 on bus (/dev/bus) within 100 ms; check wiring A/B, address, baud and timeout" {
			t.Errorf("%+v", r)
		}
		far.setMute(2, false)
		time.Sleep(1100 * time.Millisecond)
		if r, _ := out.last(quantity.Temperature); r.Reason != "" || r.Number != 42 {
			t.Errorf("1.1 s after its return: %+v", r)
		}
		stop()
	})
}

func TestPulledCable(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond)))
		defer stop()
		for range 100 {
			time.Sleep(time.Second)
			if r, _ := out.last(quantity.Flow); r.Reason != "" {
				t.Fatalf("plugged in: %+v", r)
			}
			s.pull()
			time.Sleep(time.Second)
			r, _ := out.last(quantity.Flow)
			if r.Reason != daq.ReasonPort || !strings.Contains(r.Error, "bus") {
				t.Fatalf("pulled: %+v", r)
			}
			s.plug()
		}
	})
}

func TestMissingLineIsToldAtEachDueTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := &readings{}
		s := &socket{out: true}
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Level, 2, 0, 10*time.Second)))
		time.Sleep(10 * time.Second)
		stop()
		if n := len(out.of(quantity.Flow)); n < 49 || n > 51 {
			t.Errorf("%d faults in 10 s at 200 ms", n)
		}
		if n := len(out.of(quantity.Level)); n < 9 || n > 11 {
			t.Errorf("%d faults in 10 s of one that is slow, want one a second", n)
		}
		if r, _ := out.last(quantity.Flow); r.Reason != daq.ReasonPort || r.Error != "bus: /dev/bus: open: no such device" {
			t.Errorf("%+v", r)
		}
	})
}

func TestLateAnswerIsDropped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(1, 10, 99)
		var line net.Conn
		var mu sync.Mutex
		s := &socket{serve: func(c net.Conn) {
			mu.Lock()
			line = c
			mu.Unlock()
			far.serve(c)
		}}
		late := 0
		far.setFault(func(r modbus.Request, frame []byte) []byte {
			if r.Start != 10 || late == 3 {
				return frame
			}
			late++
			go func() { // 1.5 timeouts later
				time.Sleep(150 * time.Millisecond)
				mu.Lock()
				defer mu.Unlock()
				line.Write(frame)
			}()
			return nil
		})
		_, stop := start(t, busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Level, 1, 10, 200*time.Millisecond)))
		time.Sleep(5 * time.Second)
		stop()
		for _, r := range out.of(quantity.Flow) {
			if r.Reason == "" && float32(r.Number) != 1.2 {
				t.Errorf("a late answer was taken: %+v", r)
			}
		}
		if r, _ := out.last(quantity.Level); r.Reason != "" || r.Number != 99 {
			t.Errorf("afterwards: %+v", r)
		}
	})
}

func TestWritesGoFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		// Three silent instruments, always due: the line is never idle.
		o := busOptions(s, out, register(quantity.Flow, 5, 0, time.Millisecond), register(quantity.Level, 6, 0, time.Millisecond), register(quantity.Temperature, 7, 0, time.Millisecond))
		m, stop := start(t, o)
		time.Sleep(50 * time.Millisecond)
		for i := range 20 {
			began := time.Now()
			if err := m.WriteCoil(t.Context(), "bus", 9, 3, i%2 == 0); err != nil {
				t.Fatal(err)
			}
			if took := time.Since(began); i > 0 && took > 120*time.Millisecond {
				t.Errorf("write %d took %v, more than one timeout", i, took)
			}
			if far.coil(9, 3) != (i%2 == 0) {
				t.Error("the coil did not follow")
			}
			time.Sleep(37 * time.Millisecond)
		}
		s.pull()
		time.Sleep(time.Second)
		if err := m.WriteCoil(t.Context(), "bus", 9, 3, true); err == nil || !strings.Contains(err.Error(), "bus") {
			t.Errorf("without a line: %v", err)
		}
		if err := m.WriteCoil(t.Context(), "none", 9, 3, true); err == nil {
			t.Error("a write to no port")
		}
		stop()
		if err := m.WriteCoil(t.Context(), "bus", 9, 3, true); err == nil {
			t.Error("a write after the end")
		}
	})
}

// A write whose time is over must not go out later: the permit would be
// refreshed by an old step.
func TestWriteThatIsTooLateIsNotSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setMute(9, true) // the read that finds out about the echo takes a whole timeout
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		m, stop := start(t, busOptions(s, out))
		defer stop()
		time.Sleep(50 * time.Millisecond)
		ctx, cancel := context.WithTimeout(t.Context(), 60*time.Millisecond)
		defer cancel()
		if err := m.WriteCoil(ctx, "bus", 9, 0, true); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v", err)
		}
		time.Sleep(time.Second)
		far.mu.Lock()
		defer far.mu.Unlock()
		for _, r := range far.requests {
			if r.Function == modbus.WriteSingleCoil {
				t.Errorf("the write went out: %+v", r)
			}
		}
	})
}

func TestReloadLosesNoReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(2, 0, 42)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		flow, level := register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Level, 2, 0, 200*time.Millisecond)
		o := busOptions(s, out, flow)
		m, stop := start(t, o)
		for i := range 100 {
			time.Sleep(333 * time.Millisecond)
			list := []config.Instrument{flow}
			if i%2 == 0 {
				list = append(list, level)
			}
			if err := m.Reload(o.Ports, list); err != nil {
				t.Fatal(err)
			}
		}
		stop()
		got := out.of(quantity.Flow)
		for n, r := range got {
			if late := r.At - time.Duration(n)*200*time.Millisecond; late < 0 || late > 10*time.Millisecond || r.Reason != "" {
				t.Fatalf("reading %d: late by %v: %+v", n, late, r)
			}
		}
		if s.opens != 1 {
			t.Errorf("the line was opened %d times", s.opens)
		}
		if len(out.of(quantity.Level)) < 50 {
			t.Errorf("%d readings of the one that comes and goes", len(out.of(quantity.Level)))
		}
		if err := m.Reload(nil, []config.Instrument{flow}); err == nil {
			t.Error("an instrument without its port was taken")
		}
	})
}

func TestReloadOfThePortOpensItAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		o := busOptions(s, out, register(quantity.Flow, 1, 0, 200*time.Millisecond))
		m, stop := start(t, o)
		time.Sleep(time.Second)
		faster := slices.Clone(o.Ports)
		faster[0].Baud = 115200
		if err := m.Reload(faster, o.Instruments); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		if r, _ := out.last(quantity.Flow); s.opens != 2 || r.Reason != "" {
			t.Errorf("%d opens, %+v", s.opens, r)
		}
		if err := m.Reload(nil, nil); err != nil {
			t.Fatal(err)
		}
		n := len(out.of(quantity.Flow))
		time.Sleep(time.Second)
		if len(out.of(quantity.Flow)) != n {
			t.Error("readings of a port that is gone")
		}
		stop()
	})
}

func TestStream(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		out := &readings{}
		lines := make(chan string)
		s := &socket{serve: func(c net.Conn) {
			for text := range lines {
				if _, err := c.Write([]byte(text)); err != nil {
					return
				}
			}
		}}
		in := config.Instrument{ID: quantity.Flow, Name: "flow", Port: "bus", Every: 200 * time.Millisecond, Stream: &config.Stream{Line: pattern("F={value}"), End: []byte("\n")}}
		m, stop := start(t, busOptions(s, out, in))
		send := func(text string) daq.Reading {
			lines <- text
			time.Sleep(250 * time.Millisecond)
			r, _ := out.last(quantity.Flow)
			return r
		}
		send("F=9.9\n") // may be the rest of a line that began before the opening
		if r, _ := out.last(quantity.Flow); r.Number == 9.9 {
			t.Errorf("the rest of a line was taken: %+v", out.list)
		}
		if r := send("F=1.25\n"); r.Number != 1.25 || r.Reason != "" {
			t.Errorf("%+v", r)
		}
		if r := send("status ok\nF=1.50\n"); r.Number != 1.5 || r.Reason != "" {
			t.Errorf("a line of another kind: %+v", r)
		}
		time.Sleep(time.Second)
		if r, _ := out.last(quantity.Flow); r.Reason != daq.ReasonTimeout || !strings.HasPrefix(r.Error, "nothing from bus (/dev/bus) for 300 ms") {
			t.Errorf("silence: %+v", r)
		}
		lines <- "F=1.2x\n"
		time.Sleep(400 * time.Millisecond)
		if r := out.of(quantity.Flow); r[len(r)-1].Reason != daq.ReasonFormat && r[len(r)-2].Reason != daq.ReasonFormat {
			t.Errorf("garbled: %+v", r[len(r)-2:])
		}
		if r := send("F=2\n"); r.Number != 2 || r.Reason != "" {
			t.Errorf("clean again: %+v", r)
		}
		lines <- strings.Repeat("x", 3000)
		time.Sleep(500 * time.Millisecond)
		if r, _ := out.last(quantity.Flow); r.Reason == "" {
			t.Errorf("no end: %+v", r)
		}
		send("\nF=3\n")
		if r, _ := out.last(quantity.Flow); r.Number != 3 || r.Reason != "" {
			t.Errorf("after a line without end: %+v", r)
		}
		if err := m.WriteCoil(t.Context(), "bus", 9, 0, true); err == nil || !strings.Contains(err.Error(), "sends unprompted") {
			t.Errorf("a write: %v", err)
		}
		s.pull()
		time.Sleep(time.Second)
		if r, _ := out.last(quantity.Flow); r.Reason != daq.ReasonPort {
			t.Errorf("pulled: %+v", r)
		}
		stop()
		close(lines)
	})
}

func TestWrongOptions(t *testing.T) {
	good := busOptions(&socket{}, &readings{}, register(quantity.Flow, 1, 0, time.Second))
	good.Now = func() time.Duration { return 0 }
	cases := []struct {
		name   string
		change func(*Options)
		want   string
	}{
		{"no port", func(o *Options) { o.Ports = nil }, `instrument flow: port "bus" is not there`},
		{"no time", func(o *Options) { o.Instruments[0].Every = 0 }, "instrument flow: every is 0s, it has to be more than 0"},
		{"two with a stream", func(o *Options) {
			o.Instruments[0].Stream = &config.Stream{}
			o.Instruments = append(o.Instruments, register(quantity.Level, 1, 0, time.Second))
		}, `instrument level: port "bus" has an instrument that sends unprompted; give each a line of its own`},
		{"no clock", func(o *Options) { o.Now = nil }, "instruments: options: Now and Out have to be set"},
	}
	for _, c := range cases {
		o := good
		o.Instruments = slices.Clone(good.Instruments)
		c.change(&o)
		if _, err := New(o); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// A neighbour that joins an instrument's request, or leaves it, at the very
// moment when it is due takes no reading from it.
func TestReloadOfANeighbourLosesNoReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		far, out := newSlaves(), &readings{}
		far.setFloat(1, 0, 1.2)
		far.setFloat(1, 2, 42)
		s := &socket{serve: func(c net.Conn) { far.serve(c) }}
		flow, level := register(quantity.Flow, 1, 0, 200*time.Millisecond), register(quantity.Level, 1, 2, 200*time.Millisecond)
		o := busOptions(s, out, flow)
		m, stop := start(t, o)
		for i := range 100 {
			time.Sleep(200 * time.Millisecond)
			list := []config.Instrument{flow}
			if i%2 == 0 {
				list = append(list, level)
			}
			if err := m.Reload(o.Ports, list); err != nil {
				t.Fatal(err)
			}
		}
		time.Sleep(100 * time.Millisecond)
		stop()
		if n := len(out.of(quantity.Flow)); n != 101 {
			t.Errorf("%d readings in 20.1 s, want 101", n)
		}
	})
}
