package record

import (
	"fmt"
	"os"
	"path/filepath"
)

// checkLinks refuses a link that leads nowhere: SQLite would make a new database
// at its far end, on another disk perhaps than the one that is not mounted.
func checkLinks(dir string) error {
	for _, name := range []string{FileName, lockName} {
		path := filepath.Join(dir, name)
		to, err := os.Readlink(path)
		if err != nil {
			continue // no link, or nothing there
		}
		if _, err := os.Stat(path); err != nil {
			return fmt.Errorf("%s: it is a link to %s, where nothing can be reached: %w; mount the disk that it leads to, or remove the link", path, to, err)
		}
	}
	return nil
}

// prepareDirectory makes the directory and tries whether it can be written to.
func prepareDirectory(dir string) error {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return fmt.Errorf("record.directory %s: this is a file; name a directory, or move the file away", dir)
	}
	if err := os.MkdirAll(dir, directoryRights); err != nil {
		return fmt.Errorf("record.directory %s: cannot be made: %w; make it by hand and give it to the user that runs flowrigd, or name another one", dir, err)
	}
	probe, err := os.CreateTemp(dir, ".write-test-*")
	if err != nil {
		return fmt.Errorf("record.directory %s: cannot be written to: %w; give it to the user that runs flowrigd, free some space, or name another one", dir, err)
	}
	probe.Close()
	return os.Remove(probe.Name())
}
