// Package logging owns what the log says of events, and how it is thinned out.
//
//	event → record → the same message a moment ago? → counted, or passed on with the count
package logging

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// logEvery is how often the same message may be logged; what comes between is
// counted and said with the next one.
const logEvery = 10 * time.Second

// Limit passes on the same message at most every ten seconds.
func Limit(to slog.Handler) slog.Handler {
	return &limited{Handler: to, seen: &seen{at: map[string]mention{}}}
}

type limited struct {
	slog.Handler
	seen   *seen
	prefix string
}

// seen is shared by every handler derived from one.
type seen struct {
	mu sync.Mutex
	at map[string]mention
}

type mention struct {
	at      time.Time
	skipped int
}

// Handle passes the record on unless the same was logged a moment ago.
func (l *limited) Handle(ctx context.Context, r slog.Record) error {
	skipped, pass := l.seen.admit(l.prefix+key(r), r.Time)
	if !pass {
		return nil
	}
	if skipped > 0 {
		r.AddAttrs(slog.Int("repeated", skipped))
	}
	return l.Handler.Handle(ctx, r)
}

// WithAttrs keeps the limit over derived loggers, each with its own memory.
func (l *limited) WithAttrs(attrs []slog.Attr) slog.Handler {
	prefix := l.prefix
	for _, a := range attrs {
		prefix += a.String() + " "
	}
	return &limited{Handler: l.Handler.WithAttrs(attrs), seen: l.seen, prefix: prefix}
}

// WithGroup keeps the limit over derived loggers.
func (l *limited) WithGroup(name string) slog.Handler {
	return &limited{Handler: l.Handler.WithGroup(name), seen: l.seen, prefix: l.prefix + name + "."}
}

// key is what makes two records the same: the message and its texts. Numbers
// and times in attributes differ from one time to the next and do not count.
func key(r slog.Record) string {
	k := r.Message
	r.Attrs(func(a slog.Attr) bool {
		if a.Value.Kind() == slog.KindString {
			k += " " + a.Value.String()
		}
		return true
	})
	return k
}

// seenLimit bounds the memory; past it everything old is forgotten.
const seenLimit = 1000

func (s *seen) admit(key string, now time.Time) (skipped int, pass bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m, known := s.at[key]
	if known && now.Sub(m.at) < logEvery {
		m.skipped++
		s.at[key] = m
		return 0, false
	}
	if len(s.at) >= seenLimit {
		s.at = map[string]mention{}
	}
	s.at[key] = mention{at: now}
	return m.skipped, true
}
