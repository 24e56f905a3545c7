// Package web owns everything that speaks HTTP: the page, the API, the stream
// of Server-Sent Events, the metrics, who may read and who may act.
//
//	State, and events from the feed → hub → followers;  request → guard → route → JSON
//
// It computes no physics, keeps no history and decides nothing about alarms:
// a command goes to the engine, and the engine's refusal comes back as it is.
package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"flowrigd/calc/quantity"
	"flowrigd/config"
	"flowrigd/daq"
	"flowrigd/daq/alarm"
)

// Rig is the engine as the page needs it.
type Rig interface {
	Last() *daq.State // nil before the first step
	Identity() daq.Identity
	// Do waits for the engine's reply; a refusal is an error with its reason.
	Do(context.Context, daq.Command) (made []byte, err error)
	// Alive says why the engine does not step; nil when it does.
	Alive() error
}

// History is the recording as the page reads it.
type History interface {
	Trend(ctx context.Context, id quantity.ID, from, to time.Time, buckets int) ([]daq.Bucket, error)
	// AlarmHistory gives the newest transitions, the newest first.
	AlarmHistory(ctx context.Context, limit int) ([]daq.Message, error)
	// Results gives the newest of a kind of event up to a sequence, the newest first.
	Results(ctx context.Context, what string, last int64, limit int) ([]daq.Message, error)
	// Occupancy is the room that the recording takes; false while that is not known.
	Occupancy() (daq.Occupancy, bool)
	// AlarmFigures sums up the journal.
	AlarmFigures(ctx context.Context, from, to time.Time) (alarm.Figures, error)
}

// Options is all that a Server needs.
type Options struct {
	Listen     string // host:port
	TokensFile string // "" for none
	ConfigPath string // for the remedy in messages
	OneTimeKey string // "" for none; opens /enter once, for an operator
	Version    string
	Commit     string
	Facts      Facts
	Rig        Rig
	History    History                 // nil: no recording
	Checks     func() map[string]error // what must work to be ready, "instrument NAME" among it; nil: nothing
	Stats      func() []Stat           // counters of the other sinks; nil: none
	// Follow gives hear each event as it is told, until ctx ends; nil: none.
	Follow func(ctx context.Context, hear func(daq.Message))
	// Report gives the report of an experiment, "" for the whole recording, as one HTML
	// file; known is false where there is nothing of which to make one. nil: none.
	Report func(ctx context.Context, experiment string) (page []byte, known bool, err error)
	// Simulator are the hands of the simulated rig that this daemon reads; nil: the rig is a real one.
	Simulator Simulator
	Refused   func(who, reason string) // journals a refused command; nil: log alone
	Log       *slog.Logger             // nil: slog.Default
	Now       func() time.Time         // the rig's wall time; nil: the machine's
}

// Facts is the part of the configuration that the page shows. A reload
// replaces it as a whole.
type Facts struct {
	LaminarBelow   float64
	TurbulentAbove float64
	Tube           config.Tube
	Lip            float64  // m above the level datum
	Drop           float64  // m, the level datum above the tube's outlet
	HeadLost       *float64 // m, level below which head-lost is raised; nil: none
	Overheat       *float64 // °C, limit of water-overheat; nil: none
	Alarms         []config.Alarm
	Instruments    []quantity.ID
	Plans          []string       // the names of those that the page offers to run
	Permit         bool           // there is an output for the heating permit
	Zone           *time.Location // in which the page shows times; nil: UTC

	frame frame // of the drawing
}

// FactsOf takes them out of a configuration.
func FactsOf(cfg *config.Config) Facts {
	f := Facts{
		LaminarBelow: cfg.Regime.LaminarBelow, TurbulentAbove: cfg.Regime.TurbulentAbove, Tube: cfg.Tube, Lip: cfg.Tank.Lip.X, Drop: cfg.Tank.Drop.X,
		Alarms: cfg.Alarms, Permit: cfg.Trip != nil, Zone: cfg.Zone,
	}
	for _, a := range cfg.Alarms {
		switch a.Name {
		case "head-lost":
			f.HeadLost = a.Below
		case "water-overheat":
			f.Overheat = a.Above
		}
	}
	for _, p := range cfg.Plans {
		f.Plans = append(f.Plans, p.Name)
	}
	for _, in := range cfg.Instruments {
		f.Instruments = append(f.Instruments, in.ID)
	}
	return f
}

// local is a time in the rig's zone.
func (f *Facts) local(t time.Time) time.Time {
	if f.Zone == nil {
		return t.UTC()
	}
	return t.In(f.Zone)
}

// Server serves one rig over HTTP.
type Server struct {
	opt      Options
	log      *slog.Logger
	facts    atomic.Pointer[Facts]
	tokens   *TokenFile
	sessions *sessions
	once     oneTime
	listener *connections
	loopback bool
	handler  http.Handler
	hub      hub
	turns    turns
	// of what asks the recording
	recordingTurns turns
	meters         *meters
	exchanges      exchanges
	assets         map[string]asset
	pages          *template.Template
	shot           shot
	trends         sharedTrends
	stop           chan struct{} // closed when Run ends, so that streams end
	stopOnce       sync.Once
	refusals       refusals // refused writes, for log and journal
}

// New checks the options and builds the server; it opens nothing yet.
func New(opt Options) (*Server, error) {
	if opt.Rig == nil {
		return nil, errors.New("web: no rig given")
	}
	if _, _, err := net.SplitHostPort(opt.Listen); err != nil {
		return nil, fmt.Errorf("http.listen: %q: %w; write host:port, such as 127.0.0.1:8080", opt.Listen, err)
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	s := &Server{opt: opt, log: opt.Log, listener: newConnections(), turns: newTurns(), recordingTurns: newTurns(), stop: make(chan struct{})}
	if s.log == nil {
		s.log = slog.Default()
	}
	s.tokens, s.sessions = OpenTokens(opt.TokensFile, s.log), openSessions(opt.TokensFile, s.log)
	s.tokens.Empty() // says now what is wrong with the file
	s.once.key = opt.OneTimeKey
	s.SetFacts(opt.Facts)
	if err := s.loadPage(); err != nil {
		return nil, err
	}
	s.meters = newMeters(opt.Facts.Instruments)
	s.handler = s.routes()
	return s, nil
}

// SetFacts takes over a reloaded configuration.
func (s *Server) SetFacts(f Facts) {
	f.frame = frameOf(&f)
	s.facts.Store(&f)
}

// Handler is the whole server without a listener.
func (s *Server) Handler() http.Handler { return s.handler }

// Timeouts of the server. A stream sets its own write deadline.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 15 * time.Second
	writeTimeout  = 30 * time.Second
	idleTimeout   = 60 * time.Second
	graceTime     = 3 * time.Second
)

// Run listens, unless Listen did already, and serves until ctx ends; requests
// under way get a grace time. Where it cannot listen, for another program has the
// port, it tries again until it can.
func (s *Server) Run(ctx context.Context) error {
	for s.Listen() != nil {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(listenAgain):
		}
	}
	server := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    16 << 10,
		ConnContext:       withConnection,
		ConnState:         stateChanged,
		ErrorLog:          slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
	}
	var beside sync.WaitGroup
	defer beside.Wait()
	ctx, end := context.WithCancel(ctx)
	defer end()
	beside.Go(func() { s.tellRefusals(ctx) })
	beside.Go(func() { s.sessions.keep(ctx) })
	if s.opt.Follow != nil {
		beside.Go(func() { s.opt.Follow(ctx, s.hub.tell) })
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(s.listener) }()
	select {
	case err := <-served:
		s.endStreams()
		return fmt.Errorf("http: serve: %w", err)
	case <-ctx.Done():
	}
	s.endStreams()
	err := shutdown(server)
	<-served
	return err
}

func (s *Server) endStreams() { s.stopOnce.Do(func() { close(s.stop) }) }

func shutdown(server *http.Server) error {
	ctx, cancel := context.WithTimeout(context.Background(), graceTime)
	defer cancel()
	if err := server.Shutdown(ctx); err != nil {
		if err := server.Close(); err != nil {
			return fmt.Errorf("http: close: %w", err)
		}
	}
	return nil
}

// ObserveState wakes the followers; it never blocks. Only the state of an
// interval does so: what lies between is seen in the next one.
func (s *Server) ObserveState(state *daq.State) {
	if state.Tick {
		s.hub.wake()
	}
}

// ObserveReading counts an exchange with an instrument; it never blocks.
func (s *Server) ObserveReading(r daq.Reading) {
	now := s.opt.Now()
	s.meters.observe(r, now)
	s.exchanges.observe(r, now)
}
