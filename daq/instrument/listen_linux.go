package instrument

import (
	"errors"
	"time"

	"golang.org/x/sys/unix"
)

// watchful is the end of a wait that is spent looking instead of sleeping: the
// kernel wakes a sleeper up to that much late.
const watchful = 120 * time.Microsecond

// Listen waits in the kernel: a deadline of the runtime comes up to a
// millisecond late, half of the silence between two frames.
func (l *unixLine) Listen(d time.Duration) (bool, error) {
	end := time.Now().Add(d)
	ready, err := l.wait(d - watchful)
	for !ready && err == nil && time.Now().Before(end) {
		ready, err = l.wait(0)
	}
	return ready, err
}

// wait sleeps until bytes are there or the time is over; not at all for a time
// of 0 or less.
func (l *unixLine) wait(d time.Duration) (bool, error) {
	ready := false
	err := control(l.raw, func(fd int) error {
		timeout := unix.NsecToTimespec(max(0, int64(d)))
		n, err := unix.Ppoll([]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}, &timeout, nil)
		ready = n > 0
		if errors.Is(err, unix.EINTR) {
			return nil
		}
		return err
	})
	return ready, err
}
