package peer

import (
	"log/slog"
	"sync"
	"time"
)

// What stays away is logged again after Remind; what comes and goes, no more often
// than once in Settle.
const (
	Remind = 10 * time.Minute
	Settle = time.Minute
)

// State is what is known of the other side.
type State struct {
	Tried   bool      // there was an attempt
	Trouble string    // why it is away; "" while it is not
	Since   time.Time // when the one or the other began
}

// Words are what the log says of it.
type Words struct {
	Kind     string // the key of its name: broker, receiver
	Up, Down string
	NoFeed   string // of a recording that gives nothing for it
}

// Health is whether the other side can be reached, logged once for each change.
type Health struct {
	log   *slog.Logger
	words Words

	mu       sync.Mutex
	state    State
	saidUp   bool      // what the log said last
	saidDown time.Time // when it last said that it is away
	noFeed   time.Time // and that the recording gives nothing
}

// NewHealth begins with why it is away, or with "" for one that is not known to be:
// that is not logged before it has been away.
func NewHealth(log *slog.Logger, words Words, name, trouble string) *Health {
	return &Health{log: log.With(words.Kind, name), words: words, state: State{Trouble: trouble, Since: time.Now()}, saidUp: trouble == ""}
}

// Now gives what is known.
func (h *Health) Now() State {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.state
}

// note takes over an attempt's outcome, and says whether the log hears of it: not
// under the lock, for a log may be slow.
func (h *Health) note(trouble string) (say bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if (h.state.Trouble == "") != (trouble == "") {
		h.state.Since = time.Now()
	}
	h.state.Tried, h.state.Trouble = true, trouble
	switch {
	case trouble == "":
		say = !h.saidUp
		h.saidUp = true
	case h.saidUp:
		say = due(&h.saidDown, Settle)
		h.saidUp = !say
	default:
		say = due(&h.saidDown, Remind)
	}
	return say
}

// due says whether the last time is so long ago, and then makes it now.
func due(last *time.Time, quiet time.Duration) bool {
	if time.Since(*last) < quiet {
		return false
	}
	*last = time.Now()
	return true
}

// Up notes an attempt that succeeded.
func (h *Health) Up() {
	if h.note("") {
		h.log.Info(h.words.Up)
	}
}

// Down notes one that failed, or the end of what it began.
func (h *Health) Down(why error) {
	if h.note(why.Error()) {
		h.log.Warn(h.words.Down, "error", why)
	}
}

// End notes that we ended it ourselves, which is not logged.
func (h *Health) End(why string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.state.Trouble, h.state.Since = why, time.Now()
}

// NoFeed notes that the recording gives nothing.
func (h *Health) NoFeed(why error) {
	h.mu.Lock()
	say := due(&h.noFeed, Remind)
	h.mu.Unlock()
	if say {
		h.log.Warn(h.words.NoFeed, "error", why)
	}
}
