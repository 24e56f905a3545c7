package web

import (
	"context"
	"net"
	"net/http"
	"sync"
	"time"
)

// maxConnections bounds the open connections, so that descriptors stay far
// below 1023, above which a select on a serial line cannot go.
//
// Who has a token keeps places that nobody else can take, and one place in four
// at least is always for connections that have not said yet who they are: the
// newest of them is served, the one that has waited longest gives way. So a
// person with a token gets in whatever others do, though all may come from one
// address.
const maxConnections = 512

// places is how many connections each rank may hold: of strangers those with a
// request under way, of known people the waiting ones too.
var places = [...]int{anybody: 32, watcher: 96, operator: 64}

// sendBuffer is what the system may hold for a receiver that does not read, in
// bytes; left to itself it takes megabytes for each.
const sendBuffer = 64 << 10

// rank is what the last request of a connection showed its sender to be.
type rank int

const (
	anybody rank = iota
	watcher
	operator
)

// ranks are those of the roles; without one it is anybody.
var ranks = map[string]rank{RoleOperate: operator, RoleWatch: watcher}

// connections is the table of what is open.
type connections struct {
	net.Listener
	mu        sync.Mutex
	open      map[*connection]struct{}
	displaced uint64 // closed to make room
	ending    int    // displaced, and still served
	ended     sync.Cond
}

// mostEnding bounds the displaced connections whose goroutine has not ended: in
// a storm the next is not taken before.
const mostEnding = 64

// connection is an open one. Its fields are under the table's lock.
type connection struct {
	net.Conn
	table  *connections
	rank   rank
	busy   bool               // a request is under way
	since  time.Time          // busy, or waiting for a request
	closed bool               // by the server
	hangUp context.CancelFunc // ends the request under way
}

func newConnections() *connections {
	t := &connections{open: map[*connection]struct{}{}}
	t.ended.L = &t.mu
	return t
}

// Accept takes every connection, and closes the stranger that has waited
// longest where there is no room.
func (t *connections) Accept() (net.Conn, error) {
	raw, err := t.Listener.Accept()
	if err != nil {
		return nil, err
	}
	if tcp, ok := raw.(*net.TCPConn); ok {
		_ = tcp.SetWriteBuffer(sendBuffer) // else the system's own, which is larger
	}
	c := &connection{Conn: raw, table: t, since: time.Now()}
	t.mu.Lock()
	for t.ending > mostEnding {
		t.ended.Wait()
	}
	var last *connection
	if len(t.open) >= maxConnections {
		last = t.longest(anybody, false)
		t.displace(last)
	}
	t.open[c] = struct{}{}
	t.mu.Unlock()
	last.shut()
	return c, nil
}

// longest is the connection of a rank that has been busy, or has waited, for
// the longest time; nil where there is none. The lock is held.
func (t *connections) longest(of rank, busy bool) (found *connection) {
	for c := range t.open {
		if c.rank == of && c.busy == busy && (found == nil || c.since.Before(found.since)) {
			found = c
		}
	}
	return found
}

// displace takes a connection out of the table; the lock is held.
func (t *connections) displace(c *connection) {
	if c != nil {
		delete(t.open, c)
		t.displaced++
		t.ending++
		if c.busy {
			c.hangUp()
		}
	}
}

// shut ends a displaced connection.
func (c *connection) shut() {
	if c != nil {
		_ = c.Conn.Close() // there is nobody to tell
	}
}

// serve marks a request of this rank as under way. It is false for a
// connection that had to give way meanwhile: its request must not be obeyed,
// for its sender hears nothing any more.
func (c *connection) serve(as rank, hangUp context.CancelFunc) bool {
	t := c.table
	t.mu.Lock()
	if _, there := t.open[c]; !there {
		t.mu.Unlock()
		return false
	}
	c.rank, c.busy, c.since, c.hangUp = as, true, time.Now(), hangUp
	var last *connection
	if t.taken(as) > places[as] {
		if as != anybody {
			last = t.longest(as, false)
		}
		if last == nil {
			last = t.longest(as, true)
		}
		t.displace(last)
	}
	t.mu.Unlock()
	last.shut()
	return last != c
}

// taken counts what places bounds; the lock is held.
func (t *connections) taken(by rank) (n int) {
	for c := range t.open {
		if c.rank == by && (c.busy || by != anybody) {
			n++
		}
	}
	return n
}

// Close is called once the connection is not served any more, and gives its
// place back.
func (c *connection) Close() error {
	t := c.table
	t.mu.Lock()
	if _, there := t.open[c]; there {
		delete(t.open, c)
	} else if !c.closed {
		t.ending--
		t.ended.Signal()
	}
	c.closed = true
	t.mu.Unlock()
	return c.Conn.Close()
}

func (t *connections) displacedSoFar() float64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return float64(t.displaced)
}

type connectionKey struct{}

// withConnection lets a request find its connection.
func withConnection(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connectionKey{}, c)
}

// stateChanged hears of each connection: after a request it waits for the next.
func stateChanged(c net.Conn, state http.ConnState) {
	if own, ok := c.(*connection); ok && state == http.StateIdle {
		own.table.mu.Lock()
		defer own.table.mu.Unlock()
		own.busy, own.since = false, time.Now()
	}
}

// turnWait is how long a request waits for its turn.
const turnWait = 10 * time.Second

// seat finds out who sends a request, and gives it a place and a turn of that
// rank.
func (s *Server) seat(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		from := s.identify(r)
		of := ranks[from.role]
		ctx, cancel := context.WithCancel(r.Context())
		defer cancel()
		if c, ok := ctx.Value(connectionKey{}).(*connection); ok && !c.serve(of, cancel) {
			panic(http.ErrAbortHandler)
		}
		waiting, stop := context.WithTimeout(ctx, turnWait)
		done, err := s.turns.take(waiting, of)
		stop()
		if err != nil {
			refuse(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		defer done()
		next.ServeHTTP(&answer{w, done}, r.WithContext(context.WithValue(ctx, callerKey{}, from)))
	})
}
