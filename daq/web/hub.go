package web

import (
	"sync"
	"sync/atomic"

	"flowrigd/daq"
)

// followQueue bounds the told events that wait for one follower. What does not
// fit is dropped and counted: the state that follows tells how things stand.
const followQueue = 64

// hub passes news to the followers and waits for none of them.
type hub struct {
	mu        sync.Mutex
	followers map[*follower]struct{}
	dropped   atomic.Uint64
	told      atomic.Uint64 // events so far
}

// follower is one open stream. news coalesces: however often it is filled, the
// follower reads the newest state once.
type follower struct {
	news   chan struct{}
	events chan daq.Message
}

// join adds a follower. The places of connections bound their number.
func (h *hub) join() *follower {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.followers == nil {
		h.followers = make(map[*follower]struct{})
	}
	f := &follower{news: make(chan struct{}, 1), events: make(chan daq.Message, followQueue)}
	h.followers[f] = struct{}{}
	return f
}

func (h *hub) leave(f *follower) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.followers, f)
}

func (h *hub) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.followers)
}

func (h *hub) wake() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for f := range h.followers {
		select {
		case f.news <- struct{}{}:
		default: // it has not seen the last one: it will read the newest
		}
	}
}

func (h *hub) tell(m daq.Message) {
	h.told.Add(1)
	h.mu.Lock()
	defer h.mu.Unlock()
	for f := range h.followers {
		select {
		case f.events <- m:
		default:
			h.dropped.Add(1)
		}
	}
}
