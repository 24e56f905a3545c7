package instrument

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"sync"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// Options are what a Manager works with.
type Options struct {
	Ports       []config.Port
	Instruments []config.Instrument
	Trip        *config.Trip         // the permit's output; nil: none
	Open        Opener               // nil: OpenSerial
	Now         func() time.Duration // monotonic, of Reading.At
	Clock       *clock.Clock         // of Now, where a simulated rig's is faster than the machine's; nil: the machine's
	Out         func(daq.Reading)    // hears every exchange, clean or faulty; never blocks
	Log         *slog.Logger         // nil: silent
}

// Manager works all lines.
type Manager struct {
	o       Options
	reloads chan setup
	done    chan struct{} // closed when Run has ended

	mu    sync.Mutex // guards buses
	buses map[string]*running
}

// running is a bus at work.
type running struct {
	*bus
	port        config.Port
	instruments []config.Instrument
	stop        context.CancelFunc
}

// setup is what a reload brings.
type setup struct {
	ports       []config.Port
	instruments []config.Instrument
	done        chan struct{}
}

// New checks that each instrument has its line.
func New(o Options) (*Manager, error) {
	if o.Now == nil || o.Out == nil {
		return nil, errors.New("instruments: options: Now and Out have to be set")
	}
	if o.Open == nil {
		o.Open = OpenSerial
	}
	if o.Clock == nil {
		o.Clock = clock.New()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if err := check(o.Ports, o.Instruments); err != nil {
		return nil, err
	}
	return &Manager{o: o, reloads: make(chan setup), done: make(chan struct{}), buses: map[string]*running{}}, nil
}

func check(ports []config.Port, instruments []config.Instrument) error {
	streams := map[string]bool{}
	users := map[string]int{}
	for _, in := range instruments {
		if !slices.ContainsFunc(ports, func(p config.Port) bool { return p.Name == in.Port }) {
			return fmt.Errorf("instrument %s: port %q is not there", in.Name, in.Port)
		}
		if in.Every <= 0 {
			return fmt.Errorf("instrument %s: every is %s, it has to be more than 0", in.Name, in.Every)
		}
		streams[in.Port] = streams[in.Port] || in.Stream != nil
		if users[in.Port]++; users[in.Port] > 1 && streams[in.Port] {
			return fmt.Errorf("instrument %s: port %q has an instrument that sends unprompted; give each a line of its own", in.Name, in.Port)
		}
	}
	return nil
}

// Run works all lines until ctx ends; then it closes them and waits for all
// that it started.
func (m *Manager) Run(ctx context.Context) error {
	defer close(m.done)
	m.apply(ctx, setup{ports: m.o.Ports, instruments: m.o.Instruments})
	for {
		select {
		case <-ctx.Done():
			m.apply(ctx, setup{})
			return nil
		case s := <-m.reloads:
			m.apply(ctx, s)
			close(s.done)
		}
	}
}

// Reload takes up other ports and instruments while Run works. Lines and
// instruments that did not change lose no reading.
func (m *Manager) Reload(ports []config.Port, instruments []config.Instrument) error {
	if err := check(ports, instruments); err != nil {
		return err
	}
	s := setup{ports, instruments, make(chan struct{})}
	select {
	case m.reloads <- s:
		<-s.done
		return nil
	case <-m.done:
		return errors.New("instruments: reload: they are stopped")
	}
}

// WriteCoil sets a coil of a slave, before any poll of that line, and waits
// until the slave has confirmed it.
func (m *Manager) WriteCoil(ctx context.Context, port string, address byte, coil uint16, on bool) error {
	b, err := m.bus(port)
	if err != nil {
		return fmt.Errorf("write coil: %w", err)
	}
	what := fmt.Sprintf("coil %d of address %d", coil, address)
	return b.first(ctx, what, func(w *wire) error { return w.writeCoil(ctx, address, coil, on) })
}

// Pulse gives one pulse on a control line of a port, before any poll of that
// line; off lets the control line rest. Nobody confirms it: that the relay
// behind it works is seen at the heater alone.
func (m *Manager) Pulse(ctx context.Context, port string, line config.Pulse, on bool) error {
	b, err := m.bus(port)
	if err != nil {
		return fmt.Errorf("pulse: %w", err)
	}
	return b.first(ctx, "control line", func(w *wire) error { return w.pulse(ctx, line, on) })
}

func (m *Manager) bus(port string) (*running, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if b := m.buses[port]; b != nil {
		return b, nil
	}
	return nil, fmt.Errorf("port %q: no such port at work", port)
}

// apply stops what is not wanted any more, hands changes to lines that stay,
// and starts what is new. Only Run's goroutine calls it.
func (m *Manager) apply(ctx context.Context, s setup) {
	wanted := map[string]*running{}
	for _, p := range s.ports {
		elsewhere := func(in config.Instrument) bool { return in.Port != p.Name }
		wanted[p.Name] = &running{port: p, instruments: slices.DeleteFunc(slices.Clone(s.instruments), elsewhere)}
	}
	m.retire(wanted)
	for name, w := range wanted {
		old := m.buses[name]
		if old == nil {
			m.start(ctx, w, s.instruments)
			continue
		}
		old.setOthers(s.instruments)
		if !reflect.DeepEqual(old.instruments, w.instruments) {
			old.instruments = w.instruments
			select {
			case old.changes <- w.instruments:
			case <-old.done:
			}
		}
	}
}

// retire ends lines that are gone or set up differently. The new one needs the
// device, so the old one has to be closed first.
func (m *Manager) retire(wanted map[string]*running) {
	var ended []*running
	m.mu.Lock()
	for name, old := range m.buses {
		if w := wanted[name]; w == nil || !old.keeps(w) {
			old.stop()
			ended = append(ended, old)
			delete(m.buses, name)
		}
	}
	m.mu.Unlock()
	for _, old := range ended {
		<-old.done
	}
}

// keeps says whether a line can go on with another list of instruments. A
// stream begins anew with any change.
func (r *running) keeps(w *running) bool {
	streams := talks(r.instruments) || talks(w.instruments)
	return r.port == w.port && (!streams || reflect.DeepEqual(r.instruments, w.instruments))
}

func talks(instruments []config.Instrument) bool {
	return len(instruments) == 1 && instruments[0].Stream != nil
}

func (m *Manager) start(ctx context.Context, w *running, all []config.Instrument) {
	ctx, w.stop = context.WithCancel(ctx)
	w.bus = newBus(w.port, w.instruments, m.o)
	w.setOthers(all)
	m.mu.Lock()
	m.buses[w.port.Name] = w
	m.mu.Unlock()
	if talks(w.instruments) {
		s := &stream{bus: w.bus, in: w.instruments[0]}
		go w.run(ctx, s.step)
		return
	}
	go w.run(ctx, w.step)
}
