package mqtt

import (
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// A broker that stays away is logged again after remind; one that comes and
// goes is logged no more often than once in settle.
const (
	remind = 10 * time.Minute
	settle = time.Minute
)

// counters count since the start of the process.
type counters struct {
	published, acknowledged, retried, dropped, connections atomic.Uint64

	recorded atomic.Int64 // the mark of class record
}

// Stats are figures for metrics, counted since the start.
type Stats struct {
	Connected    bool
	Connections  uint64 // made so far
	Published    uint64 // messages handed to the connection, all qualities of service
	Acknowledged uint64 // of those with QoS 1
	Retried      uint64 // messages sent again because no acknowledgement came
	Backlog      int64  // recorded rows that have not arrived at the broker
	Dropped      uint64 // states that could not be sent
}

// Stats gives the figures of this moment.
func (p *Publisher) Stats() Stats {
	up, _, _ := p.health.now()
	return Stats{
		Connected:    up,
		Connections:  p.count.connections.Load(),
		Published:    p.count.published.Load(),
		Acknowledged: p.count.acknowledged.Load(),
		Retried:      p.count.retried.Load(),
		Backlog:      max(0, p.state.Newest()-p.count.recorded.Load()),
		Dropped:      p.count.dropped.Load(),
	}
}

// health is whether the broker is connected, logged once for each change.
type health struct {
	log    *slog.Logger
	broker string

	mu        sync.Mutex
	connected bool
	since     time.Time
	why       string
	saidUp    bool      // what the log said last
	saidDown  time.Time // when it last said that the broker is away
}

func newHealth(log *slog.Logger, broker string) *health {
	return &health{log: log, broker: broker, since: time.Now(), why: "not connected yet"}
}

func (h *health) now() (bool, time.Time, string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.connected, h.since, h.why
}

func (h *health) up() {
	h.mu.Lock()
	h.connected, h.since, h.why = true, time.Now(), ""
	say := !h.saidUp
	h.saidUp = true
	h.mu.Unlock()
	if say {
		h.log.Info("broker connected", "broker", h.broker)
	}
}

// down notes the end of a connection or of an attempt.
func (h *health) down(why error) {
	h.mu.Lock()
	if h.connected {
		h.connected, h.since = false, time.Now()
	}
	h.why = why.Error()
	quiet := remind
	if h.saidUp {
		quiet = settle
	}
	say := time.Since(h.saidDown) >= quiet
	if say {
		h.saidUp, h.saidDown = false, time.Now()
	}
	h.mu.Unlock()
	if say {
		h.log.Warn("broker not connected, trying on", "broker", h.broker, "error", why)
	}
}

// end notes that we disconnected ourselves.
func (h *health) end() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.connected, h.since, h.why = false, time.Now(), "disconnected at the end of the program"
}
