package main

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/broker"
	"flowrigd/daq/build"
	"flowrigd/daq/clock"
	"flowrigd/daq/engine"
	"flowrigd/daq/instrument"
	"flowrigd/daq/live"
	"flowrigd/daq/logging"
	"flowrigd/daq/mqtt"
	"flowrigd/daq/notify"
	"flowrigd/daq/parts"
	"flowrigd/daq/web"
)

// The grace times of stopping, in the order in which the parts stop.
const (
	stopReload    = 100 * time.Millisecond
	stopReading   = 2 * time.Second
	stopRecording = 5 * time.Second
	stopSinks     = 3 * time.Second
	stopKeeper    = 2 * time.Second
)

// wiring is what differs between run and demo.
type wiring struct {
	open       instrument.Opener
	oneTimeKey string
	brokerAt   string // of an embedded broker
	mustServe  bool   // a page or an embedded broker that cannot be served is the end
	reload     <-chan os.Signal
	clock      *clock.Clock  // that a simulated rig shares; nil: the machine's
	simulator  web.Simulator // its hands; nil: none
	log        *slog.Logger
}

// daemon is every part of the program, wired.
type daemon struct {
	w         wiring
	log       *slog.Logger
	cfg       atomic.Pointer[config.Config]
	clock     *clock.Clock
	recording *recording
	standsBy  bool // another daemon records here and has the rig, as long as this one lives
	engine    *engine.Engine
	loop      *live.Loop
	manager   *instrument.Manager
	relay     *instrument.Relay              // nil without a heating permit
	answered  atomic.Pointer[daq.Output]     // what the relay answered last; nil before
	broker    *broker.Kept                   // nil unless embedded
	publisher atomic.Pointer[mqtt.Publisher] // nil without [mqtt]
	past      mqtt.Past                      // commands over MQTT that were answered
	notifier  atomic.Pointer[notify.Notifier]
	sinks     replaceables
	server    *web.Server
	slow      atomic.Pointer[string] // what does not follow the speed; "" where all does
	reloads   reloads
}

// newDaemon builds the parts; nothing runs yet but the recording's writer and
// an embedded broker.
func newDaemon(cfg *config.Config, w wiring) (*daemon, error) {
	d := &daemon{w: w, log: w.log, clock: cmp.Or(w.clock, clock.New())}
	d.cfg.Store(cfg)
	d.slow.Store(new(string))
	d.recording = openRecording(cfg.Record, d.log, func() []daq.AlarmEvent { return d.loop.Last().Standing() })
	d.standsBy = d.recording.StandsBy()
	d.buildRelay(cfg)
	for _, part := range []func(*config.Config) error{d.buildEngine, d.buildServer, d.buildBroker, d.buildSinks, d.buildInstruments} {
		if err := part(cfg); err != nil {
			return nil, errors.Join(err, d.close())
		}
	}
	return d, nil
}

func (d *daemon) close() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopRecording)
	defer cancel()
	if d.broker != nil {
		d.broker.Close()
	}
	return d.recording.Close(ctx)
}

func (d *daemon) buildEngine(cfg *config.Config) (err error) {
	if d.engine, err = engine.New(cfg, d.recording.restore(cfg)); err != nil {
		return err
	}
	d.engine.Remember(d.recording.ran)
	o := live.LoopOptions{
		Engine: d.engine, Clock: d.clock, Journal: d.recording,
		OnState:   func(s *daq.State) { d.server.ObserveState(s) }, // it is built later
		OnReading: func(r daq.Reading) { d.server.ObserveReading(r) },
	}
	if d.relay != nil {
		o.OnPermit = d.relay.Demand
	}
	d.loop = live.NewLoop(o)
	return nil
}

// logEvents says in the log what is told.
func (d *daemon) logEvents(ctx context.Context) error {
	d.recording.Follow(ctx, func(m daq.Message) { logging.Event(d.log, m) })
	return nil
}

func (d *daemon) buildRelay(cfg *config.Config) {
	if cfg.Trip == nil {
		return
	}
	t := *cfg.Trip
	d.relay = instrument.NewRelay(instrument.RelayOptions{
		Trip: t, Now: d.clock.Now, Clock: d.clock,
		Write: func(ctx context.Context, on bool) error {
			if t.Pulse != config.NoPulse {
				return d.manager.Pulse(ctx, t.Port, t.Pulse, on)
			}
			return d.manager.WriteCoil(ctx, t.Port, t.Address, t.Coil, on)
		},
		Answer: func(o daq.Output) { d.answered.Store(&o); d.loop.Output(o) },
	})
}

func (d *daemon) buildInstruments(cfg *config.Config) (err error) {
	d.manager, err = instrument.New(instrument.Options{
		Ports: cfg.Ports, Instruments: cfg.Instruments, Trip: cfg.Trip, Open: d.w.open,
		Now: d.clock.Now, Clock: d.clock, Out: d.loop.Offer, Log: d.log,
	})
	return err
}

func (d *daemon) buildServer(cfg *config.Config) (err error) {
	b := build.This()
	d.server, err = web.New(web.Options{
		Listen: cfg.HTTP.Listen, TokensFile: cfg.HTTP.TokensFile, ConfigPath: cfg.Path,
		OneTimeKey: d.w.oneTimeKey, Version: b.Version, Commit: b.Commit, Facts: web.FactsOf(cfg),
		Rig: view{d}, History: d.recording, Follow: d.recording.Follow, Checks: d.checks, Stats: d.stats, Log: d.log, Now: d.clock.Wall,
		Report: func(ctx context.Context, experiment string) ([]byte, bool, error) {
			return makeReport(ctx, cfg.Record.Directory, experiment, d.clock.Wall())
		},
		Simulator: d.w.simulator,
		Refused:   func(who, reason string) { d.loop.Note("refused", who, reason) },
	})
	if err != nil {
		return err
	}
	err = d.server.Listen()
	if err != nil && !d.w.mustServe && !errors.Is(err, web.ErrOpen) {
		d.log.Error("the page is not served; everything else works", "why", err)
		return nil
	}
	return err
}

// view is the rig as the page and the publisher see it.
type view struct{ d *daemon }

func (v view) Recording() string { return v.d.recording.Recording() }
func (v view) Newest() int64     { return v.d.recording.Newest() }
func (v view) Alive() error      { return v.d.loop.Alive() }

// Identity says whose state it is.
func (v view) Identity() daq.Identity {
	cfg := v.d.cfg.Load()
	return daq.Identity{Site: cfg.Site, Rig: cfg.Rig, Recording: v.Recording(), Sequence: v.Newest()}
}

// errAnew ends a daemon that has to begin anew from the recording.
var errAnew = errors.New("the daemon begins anew")

// runAll runs one daemon after the other, until one ends for good.
func runAll(ctx context.Context, cfg *config.Config, w wiring, running func(*daemon)) error {
	for {
		d, err := newDaemon(cfg, w)
		if err != nil {
			return err
		}
		running(d)
		err = d.run(ctx)
		if !errors.Is(err, errAnew) {
			return err
		}
		if cfg = d.cfg.Load(); d.recording.StandsBy() {
			cfg = d.now(cfg)
		}
		if d.broker != nil {
			w.brokerAt = strings.TrimPrefix(d.broker.URL(), "tcp://") // others know it by now
		}
	}
}

// now is the configuration as its file stands after a time in which no reload was
// taken up; the one of before where the file is wrong.
func (d *daemon) now(before *config.Config) *config.Config {
	cfg, problems := config.Load(before.Path)
	if config.Fatal(problems) {
		d.log.Error("takes over with the configuration of its own start: the file is wrong: run flowrigd check", "file", before.Path)
		return before
	}
	return cfg
}

// run works until the context ends, and then stops the parts in the order in
// which data flows. The recording ends last, for the others read from it.
func (d *daemon) run(ctx context.Context) error {
	if d.standsBy {
		return d.standBy(ctx)
	}
	return d.runParts(ctx, []parts.Part{
		{Name: "heating permit", Grace: stopReading, Work: parts.If(d.relay != nil, d.relay.Run)}, // first: it drops before anything else ends
		{Name: "reload", Grace: stopReload, Work: d.runReloads},                                   // may wait for a hung file: nothing waits for it
		{Name: "instruments", Grace: stopReading, Work: d.manager.Run, Vital: true},
		{Name: "health", Grace: stopReading, Work: func(ctx context.Context) error { return d.loop.WatchHealth(ctx, d.health) }},
		{Name: "engine", Grace: stopReading, Work: d.loop.Run, Vital: true},
		{Name: "last rows", Grace: stopReading, Work: d.recording.Settle}, // on disk before mqtt ends, or they are told at the next start only
		{Name: "log of events", Grace: stopSinks, Work: d.logEvents},
		{Name: "mqtt", Grace: stopSinks, Work: d.sinks.mqtt.Run},
		{Name: "notifications", Grace: stopSinks, Work: d.sinks.notify.Run},
		{Name: "embedded broker", Grace: stopSinks, Work: parts.If(d.broker != nil, d.broker.Run)}, // behind mqtt, which says its last there
		{Name: "http", Grace: stopSinks, Work: d.server.Run},
		{Name: "speed", Grace: stopReading, Work: d.watchSpeed},
		{Name: "recording", Grace: stopRecording, Work: d.runRecording, Must: true},                                 // what was measured is not all on disk: that is a failure
		{Name: "permit file", Grace: stopKeeper, Work: parts.If(d.recording.keeper != nil, d.recording.keeper.Run)}, // behind the recording, which says what it has
	})
}

// runParts runs the parts, and ends also when the daemon has to begin anew.
func (d *daemon) runParts(ctx context.Context, list []parts.Part) error {
	err := parts.Run(ctx, d.log, append(list, parts.Part{Name: "recording of before", Grace: stopReload, Vital: true, Work: func(ctx context.Context) error {
		select {
		case <-ctx.Done():
			return nil
		case <-d.recording.Anew():
			return errAnew
		}
	}}))
	if d.recording.keeper != nil {
		err = errors.Join(err, d.recording.keeper.Kept())
	}
	return err
}

// runRecording opens what could not be opened yet, and drains at the end.
func (d *daemon) runRecording(ctx context.Context) error {
	if err := d.recording.Run(ctx); err != nil {
		return err
	}
	grace, cancel := context.WithTimeout(context.Background(), stopRecording-time.Second)
	defer cancel()
	return d.recording.Close(grace)
}
