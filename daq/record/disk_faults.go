//go:build faults

package record

import (
	"errors"
	"os"
	"time"
)

// disk is that of the test build: it hangs while the file named by
// FLOWRIGD_DISK_HANG exists, and is full while the one named by
// FLOWRIGD_DISK_FULL does.
func disk(commit func() error) error {
	for exists(os.Getenv("FLOWRIGD_DISK_HANG")) {
		time.Sleep(20 * time.Millisecond)
	}
	if exists(os.Getenv("FLOWRIGD_DISK_FULL")) {
		return errors.New("no space left on device")
	}
	return commit()
}
