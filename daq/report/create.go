package report

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Create writes a report to a new file; nothing that exists is overwritten, and half
// a report is not left behind.
func Create(path string, page []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("report: %s: there is a file of that name; name another one, or move it away", path)
	}
	if err != nil {
		return fmt.Errorf("report: %w; name a file in a directory that can be written to", err)
	}
	_, err = f.Write(page)
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("report: %w", errors.Join(err, os.Remove(path)))
	}
	return nil
}
