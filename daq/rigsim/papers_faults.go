//go:build faults

package rigsim

import "os"

// leftOut says which instrument the papers do not name in the test build: the one
// of FLOWRIGD_WITHOUT.
func leftOut(name string) bool { return name == os.Getenv("FLOWRIGD_WITHOUT") }
