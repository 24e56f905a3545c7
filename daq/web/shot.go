package web

import (
	"bytes"
	"html/template"
	"maps"
	"strconv"
	"sync"
	"time"

	"flowrigd/daq"
)

// snapshot is the page's parts at one moment, numbered. All who follow share it, so
// that many pages cost one rendering.
type snapshot struct {
	number  uint64
	parts   map[string]string
	changed map[string]string // since the one before
	news    []byte            // changed, encoded
	full    func() []byte     // all parts, encoded
}

// shot keeps the newest snapshots.
type shot struct {
	mu    sync.Mutex
	state *daq.State
	made  time.Time
	list  []*snapshot // the newest last
}

const (
	// shotAge is how long a snapshot is kept while no new state comes.
	shotAge = 900 * time.Millisecond
	// shotsKept is how far a follower may lag behind and still get the changes alone.
	shotsKept = 16
)

// snapshot gives one of the newest state; of an earlier one if it is younger than pace.
func (s *Server) snapshot(pace time.Duration) *snapshot {
	state, reason := s.current()
	s.shot.mu.Lock()
	defer s.shot.mu.Unlock()
	age := time.Since(s.shot.made)
	if n := len(s.shot.list); n > 0 && (age < pace || s.shot.state == state && age < shotAge) {
		return s.shot.list[n-1]
	}
	parts := s.render(state, reason)
	next := &snapshot{number: 1, parts: parts, changed: parts, full: sync.OnceValue(func() []byte { return encode(parts) })}
	if n := len(s.shot.list); n > 0 {
		last := s.shot.list[n-1]
		next.number, next.changed = last.number+1, differing(last.parts, parts)
	}
	next.news = encode(next.changed)
	s.shot.list = append(s.shot.list[max(0, len(s.shot.list)-shotsKept+1):len(s.shot.list):len(s.shot.list)], next)
	s.shot.state, s.shot.made = state, time.Now()
	return next
}

func differing(before, after map[string]string) map[string]string {
	list := map[string]string{}
	for name, html := range after {
		if old, there := before[name]; !there || old != html {
			list[name] = html
		}
	}
	return list
}

// newsFor is what a follower lacks who has seen a number; 0 is none.
func (s *Server) newsFor(seen uint64, now *snapshot) []byte {
	switch {
	case seen == now.number:
		return []byte("{}")
	case seen+1 == now.number && seen > 0:
		return now.news
	}
	s.shot.mu.Lock()
	list := s.shot.list
	s.shot.mu.Unlock()
	if seen == 0 || list[0].number > seen+1 {
		return now.full()
	}
	all := map[string]string{}
	for _, one := range list {
		if one.number > seen && one.number <= now.number {
			maps.Copy(all, one.changed)
		}
	}
	return encode(all)
}

// render makes the pieces of the page.
func (s *Server) render(state *daq.State, reason error) map[string]string {
	facts := s.facts.Load()
	v := viewOf(state, reason, s.checks(), s.opt.Rig.Identity(), facts, talk{s.exchanges.all(), s.opt.Now()})
	parts := map[string]string{"build": s.build(facts), "told": strconv.FormatUint(s.hub.told.Load(), 10), "room": template.HTMLEscapeString(s.room())}
	var b bytes.Buffer
	for _, name := range partNames {
		b.Reset()
		if err := s.pages.ExecuteTemplate(&b, "part-"+name, v); err != nil {
			s.log.Error("page: part", "part", name, "error", err)
			continue
		}
		parts[name] = b.String()
	}
	return parts
}
