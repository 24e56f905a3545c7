//go:build unix

package instrument

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"flowrigd/config"
)

// unixLine carries the bytes over an os.File, after the serial library has set
// the line up. The library's own Write has no timeout and, after Close, goes to
// whatever file has the descriptor by then; its Read cannot take descriptors
// above 1023. A file has deadlines, and closes once nobody uses it.
type unixLine struct {
	*os.File
	path string
	raw  syscall.RawConn
	id   fs.FileInfo
}

func openSerial(path string, mode *serial.Mode) (Line, error) {
	if err := looksSerial(path); err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	line, err := setUp(file, path, mode)
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return line, nil
}

var errDirectory = errors.New("it is a directory; write the name of a serial line, flowrigd ports lists them")

// looksSerial refuses what should not even be opened.
func looksSerial(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return err
	case info.IsDir():
		return errDirectory
	case info.Mode()&fs.ModeCharDevice == 0:
		return errNotSerial
	}
	return nil
}

// setUp locks the open file before the library touches the line's settings, so
// that a second daemon cannot change those of the first.
func setUp(file *os.File, path string, mode *serial.Mode) (Line, error) {
	raw, err := file.SyscallConn()
	if err != nil {
		return nil, err
	}
	if err := control(raw, func(fd int) error { return unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB) }); err != nil {
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, errBusy
		}
		return nil, fmt.Errorf("lock: %w", err)
	}
	if err := configure(path, mode); err != nil {
		return nil, err
	}
	if err := control(raw, exclusive); err != nil {
		return nil, fmt.Errorf("exclusive use: %w", err)
	}
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	return &unixLine{File: file, path: path, raw: raw, id: info}, nil
}

// The numbers of pseudo-terminals among Linux's devices.
const firstPseudo, lastPseudo = 136, 143

// exclusive refuses later opens by others; root is not refused, hence flock as
// well. A pseudo-terminal would stay refused after its program was killed, for
// as long as the far end lives: there flock alone holds.
func exclusive(fd int) error {
	var info unix.Stat_t
	if err := unix.Fstat(fd, &info); err != nil {
		return err
	}
	if major := unix.Major(uint64(info.Rdev)); major >= firstPseudo && major <= lastPseudo {
		return nil
	}
	return unix.IoctlSetInt(fd, unix.TIOCEXCL, 0)
}

// configure lets the library set speed, framing and raw mode, and drops what
// the line received before. The settings stay while any file holds the line.
func configure(path string, mode *serial.Mode) error {
	port, err := serial.Open(path, mode)
	if err != nil {
		return err
	}
	return errors.Join(port.ResetInputBuffer(), port.Close())
}

// control runs f on a descriptor that cannot be closed meanwhile.
func control(raw syscall.RawConn, f func(fd int) error) error {
	var err error
	if outer := raw.Control(func(fd uintptr) { err = f(int(fd)) }); outer != nil {
		return outer
	}
	return err
}

// Moved says whether the path now leads to another device, as a stable name
// does after its adapter was plugged into another socket.
func (l *unixLine) Moved() bool {
	info, err := os.Stat(l.path)
	return err == nil && !os.SameFile(info, l.id)
}

// SetControl sets RTS or DTR. Pseudo-terminals have neither and refuse.
func (l *unixLine) SetControl(line config.Pulse, on bool) error {
	bit, request := unix.TIOCM_RTS, uint(unix.TIOCMBIC)
	if line == config.PulseDTR {
		bit = unix.TIOCM_DTR
	}
	if on {
		request = unix.TIOCMBIS
	}
	return control(l.raw, func(fd int) error { return unix.IoctlSetPointerInt(fd, request, bit) })
}
