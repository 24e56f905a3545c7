package rigsim

import (
	"context"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// conn is the rig's end of a line.
type conn interface {
	io.ReadWriteCloser
	SetWriteDeadline(time.Time) error
}

// cable makes the rig's ends: a pseudo-terminal or a line in memory.
type cable interface {
	plugIn(done, changed <-chan struct{}) (conn, error)
	pullOut()
	tend()
}

// line is one serial line with the instruments on it.
type line struct {
	name   string
	cable  cable
	redial <-chan *End // a new far end was taken; nil on a pseudo-terminal
	hear   func(*line, []byte) []answer
	talk   func() []byte                               // what is said unasked; nil: nothing
	real   func(time.Duration) time.Duration           // the machine's time for one of the line's
	late   func(done <-chan struct{}, d time.Duration) // waits that long by the line's clock
	paced  func() <-chan struct{}                      // closed by the next change of the clock's speed
	log    *slog.Logger

	faults Faulter // guarded by the rig's lock
	heard  []byte  // of the session's reader alone
	next   conn    // for the next session; nil: the cable makes one

	in      atomic.Bool
	changed chan struct{}
}

// plug puts the cable in or pulls it out; the session hears of it.
func (l *line) plug(in bool) {
	l.in.Store(in)
	select {
	case l.changed <- struct{}{}:
	default:
	}
}

// run serves the line until ctx ends.
func (l *line) run(ctx context.Context) {
	defer l.drop()
	for ctx.Err() == nil {
		if !l.in.Load() {
			l.drop() // pulled before anybody served it
			select {
			case <-l.changed:
			case <-ctx.Done():
			}
			continue
		}
		near, err := l.connect(ctx)
		if err != nil {
			l.log.Error("simulated line", "line", l.name, "error", err)
			pause(ctx.Done(), time.Second)
		}
		if near != nil {
			l.session(ctx, near)
		}
	}
}

// drop closes a cable that no session has taken up.
func (l *line) drop() {
	if l.next != nil {
		l.cable.pullOut()
		l.next.Close()
		l.next = nil
	}
}

func (l *line) connect(ctx context.Context) (conn, error) {
	if near := l.next; near != nil {
		l.next = nil
		return near, nil
	}
	return l.cable.plugIn(ctx.Done(), l.changed)
}

// session serves one cable until it is pulled, replaced or the rig stops.
func (l *line) session(ctx context.Context, near conn) {
	over := make(chan struct{})
	out := make(chan answer, kept)
	var wg sync.WaitGroup
	wg.Go(func() { l.guard(ctx, near, over) })
	wg.Go(func() { l.write(near, out, over) })
	l.read(near, out)
	close(over)
	wg.Wait()
}

// tendEvery is how often a cable is looked after.
const tendEvery = time.Second

// guard closes the rig's end when the session has to end, which ends the read.
func (l *line) guard(ctx context.Context, near conn, over <-chan struct{}) {
	defer near.Close()
	defer l.cable.pullOut()
	tick := time.NewTicker(tendEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-over:
			return
		case end := <-l.redial:
			l.next = end
			return
		case <-tick.C:
			l.cable.tend()
		case <-l.changed:
			if !l.in.Load() {
				return
			}
		}
	}
}

func (l *line) read(near conn, out chan<- answer) {
	l.heard = nil
	buffer := make([]byte, 512)
	for {
		n, err := near.Read(buffer)
		for _, a := range l.hear(l, buffer[:n]) {
			select {
			case out <- a:
			default: // nobody reads at the other end
			}
		}
		if err != nil {
			return
		}
	}
}

// write sends the answers in their order and what the line says by itself.
func (l *line) write(near conn, out <-chan answer, over <-chan struct{}) {
	paced, tick := l.paced(), time.NewTicker(l.real(airEvery))
	defer tick.Stop()
	for {
		select {
		case <-over:
			return
		case <-paced:
			paced = l.paced()
			tick.Reset(l.real(airEvery))
		case a := <-out:
			l.late(over, a.after)
			send(near, a.bytes)
		case <-tick.C:
			if l.talk != nil {
				send(near, l.talk())
			}
		}
	}
}

// send gives up on an end that does not read, as a serial line does.
func send(near conn, p []byte) {
	const patience = 100 * time.Millisecond
	if near.SetWriteDeadline(time.Now().Add(patience)) == nil {
		_, _ = near.Write(p)
	}
}

// pause waits, unless done comes first.
func pause(done <-chan struct{}, d time.Duration) {
	if d <= 0 {
		return
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-done:
	case <-t.C:
	}
}
