//go:build unix

package main

import (
	"os"
	"syscall"
)

// hangup is the signal that reloads.
var hangup = []os.Signal{syscall.SIGHUP}
