package daq

import "golang.org/x/sys/unix"

// kernelSynchronised asks the kernel's clock discipline (adjtimex(2)): it
// answers TIME_ERROR while nothing steers the clock.
func kernelSynchronised() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}
