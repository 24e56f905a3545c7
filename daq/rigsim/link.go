package rigsim

import (
	"errors"
	"fmt"
	"os"
)

// link is a cable on a pseudo-terminal with a name of its own in the file
// system, as udev would give it. Each time it is plugged in it is another
// device.
type link struct {
	path string
	now  *terminal
}

// plugIn makes a new pseudo-terminal and points the name at it, at once.
func (l *link) plugIn(_, _ <-chan struct{}) (conn, error) {
	t, err := openTerminal()
	if err != nil {
		return nil, err
	}
	if err := pointAt(l.path, t.device()); err != nil {
		t.Close()
		return nil, err
	}
	l.now = t
	return t, nil
}

// pullOut takes the name away; the terminal is closed by who reads it.
// A name that stays leads nowhere, which is a pulled cable as well.
func (l *link) pullOut() { _ = os.Remove(l.path) }

// tend keeps the terminal open to the next client.
func (l *link) tend() { l.now.release() }

// pointAt makes or moves a symbolic link in one step.
func pointAt(path, device string) error {
	beside := path + ".new"
	if err := os.Remove(beside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: link: %w", path, err)
	}
	if err := os.Symlink(device, beside); err != nil {
		return fmt.Errorf("%s: link: %w", path, err)
	}
	if err := os.Rename(beside, path); err != nil {
		return fmt.Errorf("%s: link: %w", path, err)
	}
	return nil
}
