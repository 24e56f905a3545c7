//go:build faults

package live

import (
	"os"

	"flowrigd/daq"
)

// hang is the seam of the test build: while the file named by FLOWRIGD_HANG
// exists, a tick never returns.
func hang(k daq.Kind) {
	name := os.Getenv("FLOWRIGD_HANG")
	if name == "" || k != daq.KindTick {
		return
	}
	if _, err := os.Stat(name); err == nil {
		select {}
	}
}
