package daqtest

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"flowrigd/config"
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

// Config is the checked configuration of a text that must be right.
func Config(t testing.TB, text string) *config.Config {
	t.Helper()
	cfg, problems := config.Parse("bench.toml", []byte(text))
	if config.Fatal(problems) {
		t.Fatal(problems)
	}
	return cfg
}
