package record

import (
	"fmt"
	"sync"
	"time"
)

// hangLimit is how long a commit may take before the recording counts as failed
// (contract: an alarm is told without the disk after a second).
const hangLimit = time.Second

// health is what the writer last knew of the disk. Its zero value is healthy.
type health struct {
	mu      sync.Mutex
	started time.Time // of the attempt under way; zero when idle
	failing time.Time // since when attempts fail; zero when they do not
	why     string
	lost    string // why nothing written from now on can be kept; "" when it can
	lostAt  time.Time
}

func (h *health) begin(now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.started = now
}

// end says how the attempt ended.
func (h *health) end(now time.Time, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err == nil {
		h.failing, h.why = time.Time{}, ""
	} else {
		if h.failing.IsZero() {
			h.failing = h.started
		}
		h.why = err.Error()
	}
	h.started = time.Time{}
}

// rest ends what was begun and says nothing of whether commits succeed.
func (h *health) rest() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.started = time.Time{}
}

// lose is for the file that is gone: commits still succeed, for nothing.
func (h *health) lose(now time.Time, why string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lost == "" {
		h.lostAt = now
	}
	h.lost = why
}

func (h *health) look(now time.Time) (ok bool, since time.Time, why string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	hung := !h.started.IsZero() && now.Sub(h.started) >= hangLimit
	switch {
	case h.lost != "":
		return false, h.lostAt, h.lost
	case !h.failing.IsZero():
		return false, h.failing, h.why
	case hung:
		return false, h.started, fmt.Sprintf("the disk has not answered for %.0f s; look at the system's log, and at the disk's space and health", now.Sub(h.started).Seconds())
	}
	return true, time.Time{}, ""
}
