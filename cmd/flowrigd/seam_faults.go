//go:build faults

package main

import (
	"errors"
	"os"
	"time"
)

// commitSeam is the disk of the test build: it hangs while the file named by
// FLOWRIGD_DISK_HANG exists, and is full while the one named by
// FLOWRIGD_DISK_FULL does.
func commitSeam() func(func() error) error {
	return func(commit func() error) error {
		for exists(os.Getenv("FLOWRIGD_DISK_HANG")) {
			time.Sleep(20 * time.Millisecond)
		}
		if exists(os.Getenv("FLOWRIGD_DISK_FULL")) {
			return errors.New("no space left on device")
		}
		return commit()
	}
}

func exists(name string) bool {
	_, err := os.Stat(name)
	return name != "" && err == nil
}
