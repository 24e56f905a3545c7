package instrument

import (
	"errors"
	"io"
	"os"
	"sync"
	"time"

	"go.bug.st/serial"

	"flowrigd/config"
)

// readSlice bounds how long Close waits for a Read.
const readSlice = 50 * time.Millisecond

// windowsLine guards the library's port: its Read and Write use the handle
// without a lock, and Close gives the handle back to the system.
type windowsLine struct {
	port     serial.Port
	mu       sync.Mutex
	closed   bool
	deadline time.Time // of Read
	using    sync.WaitGroup
}

func openSerial(path string, mode *serial.Mode) (Line, error) {
	port, err := serial.Open(path, mode)
	if err != nil {
		return nil, err
	}
	if err := port.ResetInputBuffer(); err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return &windowsLine{port: port}, nil
}

// use begins a use of the port, unless it is closed.
func (l *windowsLine) use() (time.Time, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return time.Time{}, os.ErrClosed
	}
	l.using.Add(1)
	return l.deadline, nil
}

// Read waits in slices, so that Close need not pull the handle from under it.
func (l *windowsLine) Read(p []byte) (int, error) {
	for {
		n, err := l.readSlice(p)
		if n > 0 || err != nil {
			return n, err
		}
	}
}

func (l *windowsLine) readSlice(p []byte) (int, error) {
	deadline, err := l.use()
	if err != nil {
		return 0, err
	}
	defer l.using.Done()
	wait := readSlice
	if !deadline.IsZero() {
		wait = min(wait, time.Until(deadline))
	}
	if wait <= 0 {
		return 0, os.ErrDeadlineExceeded
	}
	if err := l.port.SetReadTimeout(max(wait, time.Millisecond)); err != nil {
		return 0, err
	}
	n, err := l.port.Read(p)
	if port, ok := errors.AsType[*serial.PortError](err); ok && port.Code() == serial.PortClosed {
		return n, io.EOF // we have not closed it: the device is gone
	}
	return n, err
}

// Write sends at once: without flow control a port always drains.
func (l *windowsLine) Write(p []byte) (int, error) {
	if _, err := l.use(); err != nil {
		return 0, err
	}
	defer l.using.Done()
	return l.port.Write(p)
}

// Close waits for the slice that is being read.
func (l *windowsLine) Close() error {
	l.mu.Lock()
	was := l.closed
	l.closed = true
	l.mu.Unlock()
	if was {
		return os.ErrClosed
	}
	l.using.Wait()
	return l.port.Close()
}

func (l *windowsLine) SetReadDeadline(t time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.deadline = t
	return nil
}

func (l *windowsLine) SetWriteDeadline(time.Time) error { return nil }

// SetControl sets RTS or DTR.
func (l *windowsLine) SetControl(line config.Pulse, on bool) error {
	if _, err := l.use(); err != nil {
		return err
	}
	defer l.using.Done()
	if line == config.PulseDTR {
		return l.port.SetDTR(on)
	}
	return l.port.SetRTS(on)
}
