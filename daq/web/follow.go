package web

import (
	"net/http"
	"time"

	"flowrigd/daq"
)

// Timing of a stream. A reader that hears nothing for 2.5 s may take the
// connection for lost: a comment comes each second when nothing else does.
const (
	keepAlive    = time.Second
	slowFollower = 5 * time.Second
	pagePace     = 400 * time.Millisecond // people read no faster
)

// stream writes Server-Sent Events (WHATWG HTML, section 9.2) with a deadline
// on each.
type stream struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

func openStream(w http.ResponseWriter) (*stream, error) {
	st := &stream{w, http.NewResponseController(w)}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	// The server's read timeout would end the stream as a lost client.
	if err := st.control.SetReadDeadline(time.Time{}); err != nil {
		return nil, err
	}
	return st, st.write([]byte("retry: 1000\n\n"))
}

func (st *stream) write(b []byte) error {
	if err := st.control.SetWriteDeadline(time.Now().Add(slowFollower)); err != nil {
		return err
	}
	if _, err := st.w.Write(b); err != nil {
		return err
	}
	return st.control.Flush()
}

// event writes one event; body is JSON and so has no line break.
func (st *stream) event(kind string, body []byte) error {
	b := make([]byte, 0, len(kind)+len(body)+16)
	b = append(b, "event: "...)
	b = append(b, kind...)
	b = append(b, "\ndata: "...)
	b = append(b, body...)
	return st.write(append(b, "\n\n"...))
}

// sender writes what one kind of follower wants to see.
type sender struct {
	news  func(*stream) error // a new state is there
	quiet func(*stream) error // nothing happened for keepAlive
	event func(*stream, daq.Message) error
}

// serveStream runs a stream until the follower goes, is too slow, loses its
// right, or the server stops.
func (s *Server) serveStream(w http.ResponseWriter, r *http.Request, to sender) {
	if r.Method == http.MethodHead {
		return
	}
	f := s.hub.join()
	defer s.hub.leave(f)
	st, err := openStream(w)
	if err != nil || to.news(st) != nil {
		return
	}
	tick := time.NewTicker(keepAlive)
	defer tick.Stop()
	for err == nil {
		select {
		case <-r.Context().Done():
			return
		case <-s.stop:
			return
		case e := <-f.events:
			err = to.event(st, e)
		case <-f.news:
			err = to.news(st)
		case <-tick.C:
			// A token that was removed or changed, or a session that was ended, ends its
			// streams.
			if s.identify(r) != callerOf(r) {
				return
			}
			err = to.quiet(st)
		}
	}
}

// follow is the stream of the API: state, alarm, event.
func (s *Server) follow(w http.ResponseWriter, r *http.Request) {
	quiet := func(st *stream) error { return st.write([]byte(": alive\n\n")) }
	s.serveStream(w, r, sender{
		news: func(st *stream) error {
			state, err := s.current()
			if err != nil {
				return quiet(st)
			}
			return st.event("state", daq.AppendState(nil, state, s.opt.Rig.Identity()))
		},
		quiet: quiet,
		event: func(st *stream, m daq.Message) error { return st.event(string(m.Class), m.Body) },
	})
}

// followPage is the stream of the page: the parts of it that changed, as HTML,
// no faster than people read.
func (s *Server) followPage(w http.ResponseWriter, r *http.Request) {
	seen, last := uint64(0), time.Time{}
	send := func(st *stream) error {
		last = time.Now()
		now := s.snapshot(pagePace)
		news := s.newsFor(seen, now)
		seen = now.number
		return st.event("page", news)
	}
	s.serveStream(w, r, sender{
		news: func(st *stream) error {
			if time.Since(last) < pagePace {
				return nil
			}
			return send(st)
		},
		quiet: send,
		event: func(*stream, daq.Message) error { return nil },
	})
}
