//go:build unix

package hold

import (
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

func TestPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "permit.json")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { _, err := Read(path); done <- err }()
	select {
	case err := <-done:
		t.Log(err)
	case <-time.After(2 * time.Second):
		t.Error("hangs")
	}
}
