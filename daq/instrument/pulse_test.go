package instrument

import (
	"context"
	"errors"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
)

// controlled is a line whose control lines a test watches.
type controlled struct {
	net.Conn
	mu    sync.Mutex
	began time.Time
	level map[config.Pulse]bool
	rises []time.Duration
	fails error
}

func (c *controlled) SetControl(line config.Pulse, on bool) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fails != nil {
		return c.fails
	}
	if on && !c.level[line] {
		c.rises = append(c.rises, time.Since(c.began))
	}
	c.level[line] = on
	return nil
}

// retriggerable is what the relay outside does: each rise holds it for its
// watchdog, and a level of either kind does nothing.
func (c *controlled) retriggerable(watchdog time.Duration) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := len(c.rises)
	return n > 0 && time.Since(c.began)-c.rises[n-1] < watchdog
}

func (c *controlled) set(change func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change()
}

// pulsed is a permit output on DTR of a line that nobody else uses.
type pulsed struct {
	*relayBench
	line *controlled
	stop func()
}

func newPulsed(t *testing.T) *pulsed {
	t.Helper()
	near, far := net.Pipe()
	go func() { _, _ = far.Read(make([]byte, 1)) }()
	p := &pulsed{line: &controlled{Conn: near, began: time.Now(), level: map[config.Pulse]bool{config.PulseDTR: true}}}
	port := testPort("permit")
	m, stop := start(t, Options{Ports: []config.Port{port}, Out: func(daq.Reading) {},
		Open: func(config.Port) (Line, error) { return p.line, nil }})
	p.relayBench = &relayBench{began: p.line.began}
	p.relay = NewRelay(RelayOptions{
		Trip:   config.Trip{Port: port.Name, Pulse: config.PulseDTR, Refresh: time.Second, Watchdog: 3 * time.Second},
		Now:    p.now,
		Write:  func(ctx context.Context, on bool) error { return m.Pulse(ctx, port.Name, config.PulseDTR, on) },
		Answer: func(o daq.Output) { p.answers = append(p.answers, o) },
	})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.relay.Run(ctx) }()
	p.stop = func() { cancel(); <-done; stop(); near.Close(); far.Close() }
	return p
}

// One pulse a refresh while the engine steps; none without steps, at whatever
// level the line stands; low at the end.
func TestThePermitIsATrainOfPulses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPulsed(t)
		p.steps(time.Second, false)
		if p.line.retriggerable(3*time.Second) || p.line.level[config.PulseDTR] {
			t.Errorf("rises %v, level %v before the permit is given", p.line.rises, p.line.level)
		}
		from := p.now()
		p.steps(5*time.Second, true)
		if n := len(p.line.rises); n != 5 || !p.line.retriggerable(3*time.Second) {
			t.Errorf("%d pulses in 5 s with a refresh of 1 s: %v", n, p.line.rises)
		}
		if late := p.line.rises[0] - from; late > 10*time.Millisecond {
			t.Errorf("the first pulse came %v after the step that asks for it", late)
		}
		if o := p.answers[len(p.answers)-1]; !o.On || o.Error != "" {
			t.Errorf("answer %+v", o)
		}
		time.Sleep(3500 * time.Millisecond) // the engine hangs
		if p.line.retriggerable(3 * time.Second) {
			t.Errorf("pulses without steps: %v", p.line.rises)
		}
		p.steps(time.Second, true)
		before := len(p.line.rises)
		p.steps(3500*time.Millisecond, false)
		if len(p.line.rises) != before || p.line.retriggerable(3*time.Second) {
			t.Errorf("pulses after the drop: %v", p.line.rises)
		}
		p.stop()
		if p.line.level[config.PulseDTR] || slices.Contains(p.line.rises, p.now()) {
			t.Errorf("the line is high at the end")
		}
	})
}

func TestAPulseThatFailsIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPulsed(t)
		p.steps(200*time.Millisecond, true)
		p.line.set(func() { p.line.fails = errors.New("input/output error") })
		p.steps(2*time.Second, true)
		if o := p.answers[len(p.answers)-1]; !strings.Contains(o.Error, "plug the cable in") {
			t.Errorf("answer %+v, want what to do", o)
		}
		p.line.set(func() { p.line.fails = nil })
		p.stop()
	})
}

// A line without control lines is refused with what to do.
func TestNoControlLines(t *testing.T) {
	near, far := net.Pipe()
	defer near.Close()
	defer far.Close()
	w := newWire(near, testPort("permit"))
	if err := w.pulse(t.Context(), config.PulseRTS, true); !errors.Is(err, errNoControls) {
		t.Errorf("%v", err)
	}
}

// Each opening raises the control lines. A line that goes away as soon as it is
// open must not be opened so often that the permit's relay stays on; another one
// is looked for at once.
func TestOpeningsAreNoTrainOfPulses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const watchdog = 3 * time.Second
		trip := &config.Trip{Port: "bus", Pulse: config.PulseDTR, Refresh: time.Second, Watchdog: watchdog}
		openings := func(o Options, opens error) (list []time.Duration) {
			began := time.Now()
			o.Ports, o.Instruments, o.Out = []config.Port{testPort("/dev/bus")}, []config.Instrument{query()}, func(daq.Reading) {}
			o.Open = func(config.Port) (Line, error) {
				list = append(list, time.Since(began))
				near, far := net.Pipe()
				far.Close() // gone at once
				return near, opens
			}
			_, stop := start(t, o)
			time.Sleep(time.Minute)
			stop()
			return list
		}
		for _, opens := range []error{nil, errors.New("the device does not know this baud")} {
			list := openings(Options{Trip: trip}, opens)
			for i := 1; i < len(list); i++ {
				if list[i]-list[i-1] <= watchdog {
					t.Errorf("opened at %v: the relay's watchdog is %v", list[i-1:i+1], watchdog)
				}
			}
			if len(list) < 2 {
				t.Errorf("opened at %v in a minute: the line is not looked for again", list)
			}
			coil := *trip
			coil.Pulse = config.NoPulse
			for _, o := range []Options{{}, {Trip: &coil}, {Trip: &config.Trip{Port: "other", Pulse: config.PulseDTR, Watchdog: watchdog}}} {
				if n := len(openings(o, opens)); n < 60 {
					t.Errorf("%+v: opened %d times in a minute", o.Trip, n)
				}
			}
		}
	})
}
