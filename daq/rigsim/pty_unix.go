//go:build linux || darwin

package rigsim

import (
	"fmt"
	"os"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal is a pseudo-terminal that stands for a serial cable: the rig holds
// the master, the daemon opens the slave by its name.
type terminal struct {
	*os.File          // the master, without blocking, so that Close ends a Read
	keeper   *os.File // the slave held open, so that the line lives while nobody listens
}

// openTerminal makes a raw pseudo-terminal: no echo, no change of line ends, no
// signals.
func openTerminal() (*terminal, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("pseudo-terminal: open: %w", err)
	}
	defer master.Close()
	file, err := unblocked(master)
	if err != nil {
		slave.Close()
		return nil, fmt.Errorf("pseudo-terminal: open: %w", err)
	}
	t := &terminal{File: file, keeper: slave}
	if err := t.raw(); err != nil {
		t.Close()
		return nil, fmt.Errorf("pseudo-terminal %s: raw mode: %w", slave.Name(), err)
	}
	return t, nil
}

// unblocked is the same file for the runtime's poller; making the terminal has
// left it in blocking mode.
func unblocked(f *os.File) (*os.File, error) {
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}

// raw sets what cfmakeraw(3) sets.
func (t *terminal) raw() error {
	fd := int(t.keeper.Fd())
	mode, err := unix.IoctlGetTermios(fd, getTermios)
	if err != nil {
		return err
	}
	mode.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	mode.Oflag &^= unix.OPOST
	mode.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	mode.Cflag = mode.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	mode.Cc[unix.VMIN], mode.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, setTermios, mode)
}

// device is the name to open at the other end.
func (t *terminal) device() string { return t.keeper.Name() }

// release takes off the mark of exclusive use that a killed client leaves
// behind; a real adapter loses it with its last user.
func (t *terminal) release() {
	// A mark that stays only keeps out clients without privileges: nothing to
	// report.
	_ = unix.IoctlSetInt(int(t.keeper.Fd()), unix.TIOCNXCL, 0)
}

// Close pulls the cable.
func (t *terminal) Close() error {
	t.keeper.Close()
	return t.File.Close()
}
