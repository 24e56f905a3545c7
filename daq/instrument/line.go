// Package instrument owns everything that knows a baud rate or a register:
// serial lines, the conversations over them, their schedule, and the coil of
// the permit relay.
//
//	due time → request → bytes on a Line → answer → daq.Reading → Out
//
// It does not know what a number means (daq/channel does, which a probe of one
// instrument asks), keeps no value, and never lets a fault end in silence: each one
// is a Reading with a sentence.
package instrument

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"syscall"
	"time"

	"go.bug.st/serial"

	"flowrigd/config"
)

// Line is an open line. A Read that finds nothing until its deadline returns
// os.ErrDeadlineExceeded; so does a Write that the far end does not take. After
// Close both return os.ErrClosed, and nothing reaches any other file. A line
// that was unplugged returns io.EOF or an error of the system. One goroutine
// reads and writes at a time; Close may come from any. A net.Conn is a Line.
type Line interface {
	io.ReadWriteCloser
	SetReadDeadline(time.Time) error
	SetWriteDeadline(time.Time) error
}

// Opener opens the line of a port.
type Opener func(config.Port) (Line, error)

// mover is a Line that can tell that its name now leads to another device.
type mover interface{ Moved() bool }

// listener is a Line that waits for bytes more finely than a deadline does: it
// returns true as soon as some are there, false after the time.
type listener interface {
	Listen(time.Duration) (bool, error)
}

// OpenSerial opens a serial line for this process alone. Errors say what to do
// and begin with the device.
func OpenSerial(port config.Port) (Line, error) {
	line, err := openSerial(port.Device, mode(port))
	if err != nil {
		return nil, fmt.Errorf("%s: open: %w", port.Device, explain(err))
	}
	return line, nil
}

// mode leaves InitialStatusBits nil: pseudo-terminals refuse modem bits.
func mode(port config.Port) *serial.Mode {
	m := &serial.Mode{BaudRate: port.Baud, DataBits: port.DataBits}
	switch port.Parity {
	case config.EvenParity:
		m.Parity = serial.EvenParity
	case config.OddParity:
		m.Parity = serial.OddParity
	}
	if port.StopBits == 2 {
		m.StopBits = serial.TwoStopBits
	}
	return m
}

// The errors of lines that the system has no number for.
var (
	errNotSerial = errors.New("it is no serial line; flowrigd ports lists those of this machine")
	errBusy      = errors.New("another program has the line; stop that program, or give each its own line")
)

// explain adds the remedy to an error of the system.
func explain(err error) error {
	if port, ok := errors.AsType[*serial.PortError](err); ok {
		err = cmp.Or(ofLibrary[port.Code()], err)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errors.New("no such device; plug the cable in, or correct device (flowrigd ports lists the names)")
	case errors.Is(err, fs.ErrPermission):
		return errors.New("permission denied; add the daemon's user to the group of the device (often dialout)")
	case errors.Is(err, syscall.EBUSY):
		return errBusy
	case errors.Is(err, syscall.EIO), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV):
		return fmt.Errorf("%w; the device is gone, plug the cable in", bare(err))
	}
	return bare(err)
}

// ofLibrary are the errors that the serial library's own codes mean.
var ofLibrary = map[serial.PortErrorCode]error{
	serial.PortNotFound:      fs.ErrNotExist,
	serial.PermissionDenied:  fs.ErrPermission,
	serial.PortBusy:          errBusy,
	serial.InvalidSerialPort: errNotSerial,
	serial.InvalidSpeed:      errors.New("the device does not know this baud; use one that it does, such as 9600 or 19200"),
}

// bare is an error without operation and path, which stand before it already.
func bare(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err
	}
	return err
}
