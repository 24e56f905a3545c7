package daqtest

import (
	"fmt"
	"os"
	"path/filepath"
)

// Rig is the text of a configuration of testdata/rigs/good, wherever in the
// repository the test runs. It panics without one: its callers are variables of
// test packages.
func Rig(name string) string {
	at := filepath.Join("testdata", "rigs", "good", name+".toml")
	for range 6 {
		if text, err := os.ReadFile(at); err == nil {
			return string(text)
		}
		at = filepath.Join("..", at)
	}
	panic(fmt.Sprintf("daqtest: %s: no such file in testdata/rigs/good above this package", name))
}
