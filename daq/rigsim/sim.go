package rigsim

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/daq"
	"flowrigd/daq/clock"
)

// Options say which rig is simulated and where its lines are.
type Options struct {
	Scenario string        // one of Scenarios; "" is steady
	Speed    float64       // seconds of the rig in a second of the machine's, 0.1 to 1000; 0 is 1
	Clock    *clock.Clock  // the rig's, of that speed, where the daemon that reads it shares it; nil: physics alone runs at Speed
	Seed     uint64        // of every random draw
	Dir      string        // lines as pseudo-terminals, truth and rig.toml go here; "" for none
	Memory   bool          // lines in memory, reached by Dial, even with a Dir
	Calm     bool          // room and mains do not drift
	Noise    float64       // standard deviation of each instrument's noise ÷ its limits of error; 0 is 0.03
	Relay    bool          // a permit relay stands in the heater's circuit; else it is bridged
	Bypass   bool          // a key switch bridges the relay until it is first energised
	Config   ConfigOptions // of rig.toml
	Observe  func(Observation)
	Log      *slog.Logger
}

// Observation is what the simulated demonstrator saw.
type Observation struct {
	Time time.Time
	Seen quantity.Band
	Note string
}

// Sim is a simulated rig with its instruments.
type Sim struct {
	options Options
	story   scenario // as it began, which rig.toml describes
	log     *slog.Logger
	lines   map[string]*line
	docks   map[string]*dock
	ready   chan struct{}
	stopped chan struct{}

	hand sync.Mutex // one person's hands at a time

	following sync.Mutex    // guards reached
	reached   time.Duration // of the shared clock

	mu      sync.Mutex // guards what follows, and the faults of the lines
	plant   *plant
	sensors []*sensor
	at      time.Duration // of the rig since it began
	playing scenario      // whose moves are made; its name is "" where a person works by hand
	begun   time.Duration // when it began
	round   int           // of the scenario's repetitions
	next    int           // move of the scenario
	seen    []Observation // not yet told
}

// leastSpeed and mostSpeed bound how fast a rig runs.
const leastSpeed, mostSpeed = 0.1, 1000.0

// New draws a rig. It opens nothing.
func New(o Options) (*Sim, error) {
	story, err := find(o.Scenario)
	if err != nil {
		return nil, err
	}
	o.Speed = cmp.Or(o.Speed, 1)
	if !(o.Speed >= leastSpeed && o.Speed <= mostSpeed) {
		return nil, fmt.Errorf("speed %v: out of range; write %g to %g", o.Speed, leastSpeed, mostSpeed)
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	physics := o.Speed // against the clock of who reads
	if o.Clock != nil {
		physics = 1
	}
	s := &Sim{options: o, story: story, playing: story, log: o.Log, ready: make(chan struct{}), stopped: make(chan struct{})}
	s.plant = newPlant(o.Seed, story.start, o.Calm)
	s.plant.speed, s.plant.relay.bridged, s.plant.relay.bypass = physics, !o.Relay, o.Bypass
	if s.sensors, err = newSensors(s.plant, o.Seed, cmp.Or(o.Noise, noiseShare), story.extra); err != nil {
		return nil, err
	}
	s.wire()
	return s, nil
}

// wire lays the lines that the instruments need.
func (s *Sim) wire() {
	s.lines, s.docks = map[string]*line{}, map[string]*dock{}
	s.lay(lineBus, s.hearBus)
	s.lay(lineTC, s.hearTC)
	if s.sensor(quantity.Ambient) != nil {
		s.lay(lineAir, func(*line, []byte) []answer { return nil }).talk = s.talkAir
	}
}

func (s *Sim) lay(name string, hear func(*line, []byte) []answer) *line {
	l := &line{name: name, hear: hear, real: s.real, late: s.late, paced: s.paced, log: s.log, changed: make(chan struct{}, 1)}
	l.faults = *NewFaulter(s.options.Seed+uint64(len(name)), name == lineBus)
	l.in.Store(true)
	s.lines[name] = l
	if s.options.Memory || s.options.Dir == "" {
		d := &dock{name: name, offered: make(chan *End), stopped: s.stopped}
		s.docks[name], l.cable, l.redial = d, d, d.offered
		return l
	}
	l.cable = &link{path: filepath.Join(s.options.Dir, name)}
	return l
}

// sensor finds an instrument; nil when the rig has none for this quantity.
func (s *Sim) sensor(id quantity.ID) *sensor {
	for _, in := range s.sensors {
		if in.id == id {
			return in
		}
	}
	return nil
}

// Ready is closed when the lines of Run can be opened.
func (s *Sim) Ready() <-chan struct{} { return s.ready }

// dialWait is how long Dial waits for a cable that is out.
const dialWait = 50 * time.Millisecond

// Dial takes the far end of a line in memory, by its name or by the device
// that rig.toml gives it; who held it before sees the end of his. Only while
// Run runs.
func (s *Sim) Dial(device string) (io.ReadWriteCloser, error) {
	d, ok := s.docks[filepath.Base(device)]
	if !ok {
		return nil, fmt.Errorf("simulated line %s: open: there is none in memory with this name", device)
	}
	end, err := d.dial(dialWait)
	if err != nil {
		return nil, err
	}
	return end, nil
}

// Truth is the true state now.
func (s *Sim) Truth() Truth {
	s.follow()
	s.mu.Lock()
	defer s.mu.Unlock()
	return Truth{Time: s.wall(), Values: s.plant.truth(), Torn: s.plant.dye.torn}
}

// Advance moves the rig on by d without a clock: physics, instruments and the
// scenario's moves. The demonstrator's observations are told before it returns.
func (s *Sim) Advance(d time.Duration) {
	const part = 100 * maxStep // so that no reader waits for long
	for ; d > 0; d -= part {
		for _, o := range s.advance(min(d, part)) {
			if s.options.Observe != nil {
				o.Time = s.wall()
				s.options.Observe(o)
			}
		}
	}
}

func (s *Sim) advance(d time.Duration) []Observation {
	s.mu.Lock()
	defer s.mu.Unlock()
	for ; d > 0; d -= maxStep {
		s.play()
		h := min(d, maxStep)
		s.plant.step(h)
		for _, in := range s.sensors {
			in.step(h.Seconds(), s.plant)
		}
		s.at += h
	}
	seen := s.seen
	s.seen = nil
	return seen
}

// play makes the moves that are due.
func (s *Sim) play() {
	for s.next < len(s.playing.moves) {
		m := s.playing.moves[s.next]
		if s.at < s.begun+time.Duration(s.round)*s.playing.again+m.at {
			return
		}
		m.do(s)
		s.next++
		if s.next == len(s.playing.moves) && s.playing.again > 0 {
			s.next, s.round = 0, s.round+1
		}
	}
}

// Settle lets everything that the scenario has not touched come to rest.
func (s *Sim) Settle() { s.Advance(2 * time.Minute) }

// Readings are the numbers as they would come off the lines now, without the
// lines: one clean reading of each instrument, marked with the time given.
func (s *Sim) Readings(at time.Duration) []daq.Reading {
	s.mu.Lock()
	defer s.mu.Unlock()
	var list []daq.Reading
	for _, in := range s.sensors {
		v := in.read()
		r := daq.Reading{Instrument: in.id, Number: v, At: at}
		if in.failed && in.id == quantity.Temperature {
			r = daq.Reading{Instrument: in.id, At: at, Reason: daq.ReasonFormat, Error: "tc: T=OPEN is no number; the thermocouple is broken"}
		}
		if in.id == quantity.SupplyFlow {
			r.Count = uint64(v)
		}
		list = append(list, r)
	}
	return list
}

// Run serves the rig until ctx ends; then the lines and their names are gone.
// It fails when the lines or the files in Dir cannot be made.
func (s *Sim) Run(ctx context.Context) error {
	defer close(s.stopped)
	record, err := s.prepare()
	if err != nil {
		return err
	}
	if err := s.firstCables(ctx); err != nil {
		return errors.Join(err, record.close())
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var wg sync.WaitGroup
	for _, l := range s.lines {
		wg.Go(func() { l.run(ctx) })
	}
	wg.Go(func() { s.drive(ctx) })
	if record != nil {
		wg.Go(func() { record.run(ctx, s, stop) })
	}
	close(s.ready)
	wg.Wait()
	if errors.Is(context.Cause(ctx), errTruth) {
		return context.Cause(ctx)
	}
	return nil
}

// firstCables puts the pseudo-terminals in before anybody is told that the rig
// is there. Lines in memory wait for who dials.
func (s *Sim) firstCables(ctx context.Context) error {
	for _, l := range s.lines {
		if l.redial != nil {
			continue
		}
		near, err := l.cable.plugIn(ctx.Done(), nil)
		if err != nil {
			for _, made := range s.lines {
				made.drop()
			}
			return fmt.Errorf("simulated line %s: %w", l.name, err)
		}
		l.next = near
	}
	return nil
}

// CriticalReynolds are the true Reynolds numbers at which the dye is torn half of
// the time: going up from laminar flow, and coming down from turbulent flow.
func (s *Sim) CriticalReynolds() (rising, falling float64) {
	return s.plant.stretches.threshold, s.plant.stretches.floor
}
