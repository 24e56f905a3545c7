//go:build faults

package daq

import "os"

// hang is the seam of the test build: while the file named by FLOWRIGD_HANG
// exists, a tick never returns.
func hang(k Kind) {
	name := os.Getenv("FLOWRIGD_HANG")
	if name == "" || k != KindTick {
		return
	}
	if _, err := os.Stat(name); err == nil {
		select {}
	}
}
