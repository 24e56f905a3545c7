package daqtest

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Require skips a test for want of something from outside the repository, or
// fails it where FLOWRIG_REQUIRE=1 says that everything must be there.
func Require(t testing.TB, what string, found bool) {
	t.Helper()
	switch {
	case found:
	case os.Getenv("FLOWRIG_REQUIRE") == "1":
		t.Fatalf("%s is missing: install it", what)
	default:
		t.Skipf("%s is missing: install it", what)
	}
}

// Program finds a program of the Debian package named.
func Program(t testing.TB, name, debian string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name} {
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	Require(t, name+" (Debian's package "+debian+")", false)
	return ""
}

// NodeModule is the directory of a package of the npm registry, in the directory
// that FLOWRIG_NODE_MODULES names.
func NodeModule(t testing.TB, name string) string {
	t.Helper()
	dir := filepath.Join(os.Getenv("FLOWRIG_NODE_MODULES"), name)
	_, err := os.Stat(filepath.Join(dir, "package.json"))
	Require(t, name+" of the npm registry (in the directory that FLOWRIG_NODE_MODULES names)", err == nil && filepath.IsAbs(dir))
	return dir
}
