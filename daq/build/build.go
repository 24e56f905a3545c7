// Package build owns which program this is: the version that people compare, and
// the name of this very program that the runs of a recording bear.
//
//	what the Go tool wrote into the program → This; its bytes → Program
package build

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
)

// Info says which program this is.
type Info struct {
	Version string `json:"version"`
	Commit  string `json:"commit"`
	Go      string `json:"go"`
	Program string `json:"program,omitempty"` // as Program gives it; This leaves it empty
}

// This reads what the Go tool wrote into the program.
func This() Info {
	b := Info{Version: "unknown", Commit: "unknown", Go: runtime.Version()}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if info.Main.Version != "" {
		b.Version = info.Main.Version
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			b.Commit = s.Value
		}
	}
	return b
}

// Program names this very program by its version, machine and the hash of its
// bytes, for two builds of one commit may differ; "" where it cannot be read.
func Program() string {
	name, err := os.Executable()
	if err != nil {
		return ""
	}
	f, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return ""
	}
	return fmt.Sprintf("%s %s/%s %s", This().Version, runtime.GOOS, runtime.GOARCH, hex.EncodeToString(sum.Sum(nil)[:8]))
}
