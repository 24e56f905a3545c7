package clock

import (
	"time"

	"golang.org/x/sys/unix"
)

// kernelSynchronised asks the kernel's clock discipline (adjtimex(2)): it
// answers TIME_ERROR while nothing steers the clock.
func kernelSynchronised() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}

// bothClocks is the longest time between two readings of the clocks that still
// lets them be compared.
const bothClocks = 100 * time.Millisecond

// asleep is how long the machine has slept since it was started: Go's monotonic
// clock stands still then and the boot clock does not. 0 where it cannot be told.
func asleep() time.Duration {
	var before, boot, after unix.Timespec
	if unix.ClockGettime(unix.CLOCK_MONOTONIC, &before) != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot) != nil ||
		unix.ClockGettime(unix.CLOCK_MONOTONIC, &after) != nil || after.Nano()-before.Nano() > int64(bothClocks) {
		return 0
	}
	return time.Duration(boot.Nano() - before.Nano())
}
