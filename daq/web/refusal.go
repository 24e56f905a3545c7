package web

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// Who sends what is refused without a valid token.
const (
	stranger    = "unknown"
	foreignPage = "a web page of another site"
)

// A refused write is kept one by one until the burst is used up; then those of
// a minute become one sentence. What strangers send costs a bounded place.
const (
	refusalBurst   = 20 // of a person with a token
	strangersBurst = 3
	refusalEvery   = time.Minute
	longestPath    = 120 // bytes of a path that are kept; and of a method, for which anybody may make up a word
)

// refusals counts refused writes by who sent them: the holders of tokens, and
// two names for everybody else. Its zero value is ready.
type refusals struct {
	mu sync.Mutex
	of map[string]*tally
}

type tally struct {
	used   int       // of the burst
	since  time.Time // when the burst was last added to
	held   int       // refused since the last sentence
	latest string
}

// refused is a sentence for log and journal.
type refused struct{ who, what string }

// take counts a refusal, and says whether it is told by itself.
func (r *refusals) take(who, what string, now time.Time) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.of == nil {
		r.of = map[string]*tally{}
	}
	t := r.of[who]
	if t == nil {
		t = &tally{since: now}
		r.of[who] = t
	}
	if t.held == 0 && t.spend(burst(who), now) {
		return true
	}
	t.held, t.latest = t.held+1, what
	return false
}

// due gives the sentences on what was held back; at the end without waiting.
func (r *refusals) due(now time.Time, end bool) []refused {
	r.mu.Lock()
	defer r.mu.Unlock()
	var list []refused
	for who, t := range r.of {
		if t.held == 0 || !t.spend(burst(who), now) && !end {
			continue
		}
		list = append(list, refused{who, fmt.Sprintf("%d more requests, the last one %s", t.held, t.latest)})
		t.held = 0
	}
	return list
}

func burst(who string) int {
	if who == stranger || who == foreignPage {
		return strangersBurst
	}
	return refusalBurst
}

// spend takes one of the burst, which grows back by one each refusalEvery.
func (t *tally) spend(burst int, now time.Time) bool {
	if back := now.Sub(t.since) / refusalEvery; back > 0 {
		t.used, t.since = max(0, t.used-int(min(back, refusalBurst))), now
	}
	if t.used >= burst {
		return false
	}
	t.used++
	return true
}

// refusal keeps a refused write where it can be found.
func (s *Server) refusal(who string, r *http.Request, why string) {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return
	}
	// Escaped, so that nothing in it moves the cursor of whoever reads it.
	what := cut(r.Method) + " " + cut(r.URL.EscapedPath()) + ": " + why + ", from " + r.RemoteAddr
	if s.refusals.take(who, what, time.Now()) {
		s.tellRefusal(refused{who, what})
	}
}

func (s *Server) tellRefusal(t refused) {
	s.log.Warn("request refused", "who", t.who, "what", t.what)
	if s.opt.Refused != nil {
		s.opt.Refused(t.who, t.what)
	}
}

// tellRefusals tells what was held back, until ctx ends.
func (s *Server) tellRefusals(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for ended := false; !ended; {
		select {
		case <-tick.C:
		case <-ctx.Done():
			ended = true
		}
		for _, t := range s.refusals.due(time.Now(), ended) {
			s.tellRefusal(t)
		}
	}
}

func cut(text string) string {
	if len(text) > longestPath {
		return text[:longestPath] + "…"
	}
	return text
}
