package record

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
)

// Nobody but the daemon's user and group reads what is recorded. SQLite gives
// the log and its index the rights of the database.
const (
	fileRights      = 0o640
	directoryRights = 0o750
)

// makeFile makes an empty file with its rights where there is none; SQLite
// would let everybody read what it makes.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, fileRights)
	if err == nil {
		return f.Close()
	}
	if !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%w; look at the rights of the directory, and whether it is there", err)
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: is a link that leads nowhere: remove it, or make what it leads to", path)
	}
	return nil
}

// tighten takes the rights of all others from what an older flowrigd or another
// program made, and warns where it may not, or where others could put another
// database in the place of ours.
func tighten(dir string, log *slog.Logger) {
	for _, name := range []string{FileName, FileName + "-wal", FileName + "-shm", lockName, lockName + "-journal"} {
		path := filepath.Join(dir, name)
		info, err := os.Stat(path)
		if err != nil || info.Mode().Perm()&^fileRights == 0 {
			continue
		}
		if err := os.Chmod(path, info.Mode().Perm()&fileRights); err != nil {
			log.Warn("recording: others may read it: take their rights away by hand", "file", path, "err", err)
		}
	}
	if info, err := os.Stat(dir); err == nil && info.Mode().Perm()&0o002 != 0 {
		log.Warn("record.directory: everybody may write there and put another database in the place of this one: chmod o-w, or name another directory", "directory", dir)
	}
}
