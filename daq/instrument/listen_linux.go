package instrument

import (
	"errors"
	"time"

	"golang.org/x/sys/unix"
)

// Listen waits in the kernel: a deadline of the runtime comes up to a
// millisecond late, half of the silence between two frames.
func (l *unixLine) Listen(d time.Duration) (bool, error) {
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
