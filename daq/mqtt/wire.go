package mqtt

import (
	"context"
	"net"
	"sync/atomic"
	"time"
)

// wire is a socket on which no write waits for ever: paho's ping has no
// deadline of its own, and its publishing takes away the one it had set.
type wire struct {
	net.Conn
	patience time.Duration
	reason   atomic.Pointer[error] // why we ended it ourselves
	detach   func() bool
}

// newWire makes a socket that the context's end kills until detach is called.
func newWire(ctx context.Context, conn net.Conn, patience time.Duration) *wire {
	w := &wire{Conn: conn, patience: patience}
	w.detach = context.AfterFunc(ctx, func() { w.kill(context.Cause(ctx)) })
	return w
}

// kill closes the socket for a reason, which Read then gives: paho takes the
// standard library's "use of closed network connection" for its own doing and
// would go on as if connected.
func (w *wire) kill(why error) {
	w.reason.CompareAndSwap(nil, &why)
	_ = w.Conn.Close()
}

func (w *wire) Read(b []byte) (int, error) {
	n, err := w.Conn.Read(b)
	return n, w.because(err)
}

func (w *wire) Write(b []byte) (int, error) {
	_ = w.Conn.SetWriteDeadline(time.Now().Add(w.patience))
	n, err := w.Conn.Write(b)
	return n, w.because(err)
}

func (w *wire) because(err error) error {
	if why := w.reason.Load(); err != nil && why != nil {
		return *why
	}
	return err
}

// SetDeadline bounds the handshake's reading; writes have their own deadline.
func (w *wire) SetDeadline(t time.Time) error { return w.Conn.SetReadDeadline(t) }

// SetWriteDeadline is not for others to set.
func (w *wire) SetWriteDeadline(time.Time) error { return nil }
