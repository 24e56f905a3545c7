package notify

import (
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// A receiver that stays away is logged again after remind; one that comes and
// goes no more often than once in settle.
const (
	remind = 10 * time.Minute
	settle = time.Minute
)

// counters count since the start of the process.
type counters struct {
	attempts, failed, delivered, refused atomic.Uint64

	waiting atomic.Int64
}

// Stats are figures of one receiver, counted since the start.
type Stats struct {
	Receiver  string // host of a webhook, or mail and its server; unique
	Attempts  uint64 // deliveries tried
	Failed    uint64 // of those
	Delivered uint64 // alarm messages that have arrived
	Refused   uint64 // alarm messages set aside
	Waiting   int    // alarm messages known and not delivered
	Trouble   string // why it is not told; "" while it is
	Since     time.Time
}

// health is whether a receiver takes what it is told, logged once for each
// change.
type health struct {
	log      *slog.Logger
	receiver string

	mu            sync.Mutex
	tried         bool // there was an attempt
	trouble       string
	since         time.Time
	saidDown      time.Time // when the log last said that it is away
	said          bool      // and has not said since that it is back
	saidRecording time.Time
}

func newHealth(log *slog.Logger, receiver string) *health {
	return &health{log: log, receiver: receiver, since: time.Now()}
}

func (h *health) stats() Stats {
	h.mu.Lock()
	defer h.mu.Unlock()
	return Stats{Trouble: h.trouble, Since: h.since}
}

// now says whether there was an attempt, and why the last one failed.
func (h *health) now() (tried bool, trouble string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.tried, h.trouble
}

func (h *health) up() {
	h.mu.Lock()
	h.tried = true
	if h.trouble != "" {
		h.trouble, h.since = "", time.Now()
	}
	say := h.said
	h.said = false
	h.mu.Unlock()
	if say {
		h.log.Info("receiver of alarms takes them again", "receiver", h.receiver)
	}
}

// down notes a delivery that failed.
func (h *health) down(why error) {
	h.mu.Lock()
	h.tried = true
	if h.trouble == "" {
		h.since = time.Now()
	}
	h.trouble = why.Error()
	quiet := settle
	if h.said {
		quiet = remind
	}
	say := time.Since(h.saidDown) >= quiet
	if say {
		h.said, h.saidDown = true, time.Now()
	}
	h.mu.Unlock()
	if say {
		h.log.Warn("receiver of alarms is not told, trying on", "receiver", h.receiver, "error", why)
	}
}

// aside notes messages that will not be delivered.
func (h *health) aside(batch []*message, why error) {
	for _, m := range batch {
		h.log.Error("alarm not told: refused again and again, look it up in the journal", "receiver", h.receiver, "alarm", m.Name, "state", m.State, "sequence", m.Sequence, "error", why)
	}
}

// recording notes that the recording gives nothing.
func (h *health) recording(why error) {
	h.mu.Lock()
	say := time.Since(h.saidRecording) >= remind
	if say {
		h.saidRecording = time.Now()
	}
	h.mu.Unlock()
	if say {
		h.log.Warn("recording gives no alarms, trying on", "receiver", h.receiver, "error", why)
	}
}
