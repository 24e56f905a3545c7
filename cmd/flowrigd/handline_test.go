//go:build unix

package main

import (
	"os"
	"testing"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// handLine is a serial cable whose far end the test holds.
type handLine struct {
	t      *testing.T
	name   string // stays while cables come and go
	answer func(heard []byte) (answer, rest []byte)
	far    *os.File
	keeper *os.File // the near end, so that the line lives while nobody listens
	done   chan struct{}
}

func newHandLine(t *testing.T, name string, answer func([]byte) ([]byte, []byte)) *handLine {
	t.Helper()
	l := &handLine{t: t, name: name, answer: answer}
	l.plug()
	t.Cleanup(l.pull)
	return l
}

// plug puts a new cable in, under the same name.
func (l *handLine) plug() {
	l.t.Helper()
	master, near, err := pty.Open()
	must(l.t, err)
	l.keeper, l.far = near, pollable(l.t, master)
	quietTerminal(l.t, near)
	must(l.t, os.Symlink(near.Name(), l.name))
	l.done = make(chan struct{})
	go l.serve(l.far, l.done)
}

// pull closes the far end and takes the name away, as the system does for an
// adapter: the terminal's number may be another's at once.
func (l *handLine) pull() {
	if l.far == nil {
		return
	}
	if err := os.Remove(l.name); err != nil {
		l.t.Error(err)
	}
	l.far.Close()
	<-l.done
	l.keeper.Close()
	l.far = nil
}

func (l *handLine) serve(far *os.File, done chan struct{}) {
	defer close(done)
	var heard []byte
	buf := make([]byte, 256)
	for {
		n, err := far.Read(buf)
		if err != nil {
			return
		}
		if heard, err = l.answerAll(far, append(heard, buf[:n]...)); err != nil {
			return
		}
	}
}

// answerAll answers every whole question; rest is what is not whole yet.
func (l *handLine) answerAll(far *os.File, heard []byte) (rest []byte, err error) {
	for {
		answer, rest := l.answer(heard)
		if _, err := far.Write(answer); err != nil || len(rest) == len(heard) {
			return rest, err
		}
		heard = rest
	}
}

// pollable is the same file without blocking, so that Close ends a Read.
func pollable(t testing.TB, f *os.File) *os.File {
	t.Helper()
	defer f.Close()
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	must(t, err)
	must(t, unix.SetNonblock(fd, true))
	return os.NewFile(uintptr(fd), f.Name())
}

// quietTerminal keeps a line from echoing and translating before the daemon
// has opened it.
func quietTerminal(t testing.TB, f *os.File) {
	t.Helper()
	mode, err := unix.IoctlGetTermios(int(f.Fd()), getMode)
	must(t, err)
	mode.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG | unix.IEXTEN
	mode.Iflag &^= unix.ICRNL | unix.IXON
	mode.Oflag &^= unix.OPOST
	must(t, unix.IoctlSetTermios(int(f.Fd()), setMode, mode))
}
