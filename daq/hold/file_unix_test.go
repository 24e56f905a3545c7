//go:build unix

package hold

import (
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// TestAPipeIsNotWaitedFor: nobody writes to it, and a start must not hang.
func TestAPipeIsNotWaitedFor(t *testing.T) {
	path := filepath.Join(t.TempDir(), "permit.json")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { _, err := Read(path); done <- err }()
	select {
	case err := <-done:
		if err == nil {
			t.Error("a pipe is read as a permit file")
		}
	case <-time.After(10 * time.Second):
		t.Error("it waits for a writer")
	}
	if err := write(path, Memory{Written: noon}); err != nil {
		t.Error(err)
	}
	if _, err := Read(path); err != nil {
		t.Error("after the first write:", err)
	}
}
