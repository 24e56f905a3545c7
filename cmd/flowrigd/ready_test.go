//go:build unix

package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flowrigd/daq/daqtest"
)

// TestASilentRelayIsNotReady: a permit relay that nobody hears is named, and
// nothing else is.
func TestASilentRelayIsNotReady(t *testing.T) {
	t.Parallel()
	dir, at := t.TempDir(), daqtest.FreeAddress(t)
	simulated(t, dir, "--scenario", "overheat")
	config := rigConfig(t, dir, at, "")
	deaf := strings.Replace(read(t, config), "modbus = {address = 9, coil = 0}", "modbus = {address = 8, coil = 0}", 1)
	start(t, program, "run", "--config", write(t, filepath.Join(dir, "deaf.toml"), deaf))
	within(t, 20*time.Second, "the relay alone is not ready", func() bool {
		status, body := get("http://" + at + "/readyz")
		return status == 503 && strings.Contains(body, "not ready: heating permit relay\"") && strings.Contains(body, "no answer from address 8")
	})
}
