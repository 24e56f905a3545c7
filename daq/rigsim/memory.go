package rigsim

import (
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// End is one end of a line in memory. Reads wait for bytes, the read deadline
// or the end of the line (io.EOF); writes never wait, and bytes that nobody
// reads are lost, as on a real line.
type End struct {
	in, out  chan []byte
	gone     chan struct{} // closed with either end
	hang     func()
	left     []byte
	deadline atomic.Pointer[time.Time] // of a Read; nil or zero: none
}

// kept is how many writes a line holds for a slow reader.
const kept = 64

// newLine makes a line in memory.
func newLine() (near, far *End) {
	a, b := make(chan []byte, kept), make(chan []byte, kept)
	gone := make(chan struct{})
	hang := sync.OnceFunc(func() { close(gone) })
	near = &End{in: a, out: b, gone: gone, hang: hang}
	far = &End{in: b, out: a, gone: gone, hang: hang}
	return near, far
}

// Read takes what has come. After the deadline it gives os.ErrDeadlineExceeded.
func (e *End) Read(p []byte) (int, error) {
	if len(e.left) == 0 {
		if err := e.wait(); err != nil {
			return 0, err
		}
	}
	n := copy(p, e.left)
	e.left = e.left[n:]
	return n, nil
}

func (e *End) wait() error {
	var late <-chan time.Time
	if at := e.deadline.Load(); at != nil && !at.IsZero() {
		timer := time.NewTimer(time.Until(*at))
		defer timer.Stop()
		late = timer.C
	}
	select {
	case e.left = <-e.in:
		return nil
	case <-e.gone:
		return io.EOF
	case <-late:
		return os.ErrDeadlineExceeded
	}
}

// Write sends a copy of p.
func (e *End) Write(p []byte) (int, error) {
	select {
	case <-e.gone:
		return 0, io.ErrClosedPipe
	default:
	}
	select {
	case e.out <- append([]byte(nil), p...):
	default:
	}
	return len(p), nil
}

// SetReadDeadline holds from the next Read on; the zero time is none.
func (e *End) SetReadDeadline(t time.Time) error {
	e.deadline.Store(&t)
	return nil
}

// SetWriteDeadline has nothing to bound.
func (e *End) SetWriteDeadline(time.Time) error { return nil }

// Close ends the line for both ends.
func (e *End) Close() error {
	e.hang()
	return nil
}

// dock is where the far ends of a line in memory are handed out.
type dock struct {
	name    string
	offered chan *End     // near ends for the rig
	stopped chan struct{} // closed when the rig has stopped
}

// plugIn waits until somebody dials. It gives nothing when the cable may have
// been pulled meanwhile.
func (d *dock) plugIn(done, changed <-chan struct{}) (conn, error) {
	select {
	case near := <-d.offered:
		return near, nil
	case <-done:
	case <-changed:
	}
	return nil, nil
}

func (d *dock) pullOut() {}

func (d *dock) tend() {}

// dial takes a far end, or says that the cable is not there.
func (d *dock) dial(wait time.Duration) (*End, error) {
	near, far := newLine()
	late := time.NewTimer(wait)
	defer late.Stop()
	select {
	case d.offered <- near:
		return far, nil
	case <-d.stopped:
		return nil, fmt.Errorf("simulated line %s: open: the rig has stopped", d.name)
	case <-late.C:
		return nil, fmt.Errorf("simulated line %s: open: no cable is plugged in; wait until it is back", d.name)
	}
}
