//go:build unix

package hangup

import (
	"os"
	"syscall"
)

// list is the signal that reloads.
var list = []os.Signal{syscall.SIGHUP}
