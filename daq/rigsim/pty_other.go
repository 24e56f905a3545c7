//go:build !linux && !darwin

package rigsim

import (
	"errors"
	"os"
)

// terminal has no meaning here.
type terminal struct{ *os.File }

func openTerminal() (*terminal, error) {
	return nil, errors.New("pseudo-terminal: open: this system has none; use the demo, which keeps its lines in memory")
}

func (t *terminal) device() string { return "" }

func (t *terminal) release() {}
