package rigsim

import (
	"testing"

	"golang.org/x/sys/unix"
)

// exclusive asks the kernel whether the terminal is marked (TIOCGEXCL).
func exclusive(t *testing.T, term *terminal) bool {
	t.Helper()
	marked, err := unix.IoctlGetInt(int(term.keeper.Fd()), unix.TIOCGEXCL)
	must(t, err)
	return marked != 0
}
