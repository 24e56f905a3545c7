package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Backup copies the recording, as it stands at this moment, into one new file
// while the daemon goes on. The file appears under its name only when it is
// whole and on disk; one that exists is left alone. A daemon that goes on
// recording in a copy gives it a UUID of its own first, for the original has
// used the same sequences for something else.
func (r *Reader) Backup(ctx context.Context, to string) error {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = errors.New("exists already; name a new file")
		}
		return fmt.Errorf("backup: %s: %w", to, err)
	}
	part := to + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("backup: %w", err)
	}
	if err := r.copyTo(ctx, part); err != nil {
		os.Remove(part)
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	return nil
}

// copyTo uses VACUUM INTO, which reads one snapshot: unlike SQLite's backup
// interface it does not begin anew whenever another process has written.
func (r *Reader) copyTo(ctx context.Context, part string) error {
	if err := makeFile(part); err != nil { // VACUUM INTO takes an empty one
		return fmt.Errorf("backup: %w", err)
	}
	if _, err := r.db.ExecContext(ctx, `VACUUM INTO ?`, part); err != nil {
		return explain(part, "backup", err)
	}
	if err := markCopy(part); err != nil {
		return explain(part, "backup", err)
	}
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return fmt.Errorf("backup: %s: %w", part, err)
	}
	return nil
}

func markCopy(part string) error {
	db, err := openDatabase(part, "")
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.Exec(`INSERT OR REPLACE INTO meta VALUES ('copy', 'yes')`)
	return err
}

// renewCopy gives a copy that is about to be written its own UUID, and keeps
// the one it came from.
func renewCopy(tx *sql.Tx) error {
	_, err := tx.Exec(`
		INSERT OR REPLACE INTO meta SELECT 'copy_of', value FROM meta WHERE key = 'recording' AND EXISTS (SELECT 1 FROM meta WHERE key = 'copy');
		UPDATE meta SET value = ? WHERE key = 'recording' AND EXISTS (SELECT 1 FROM meta WHERE key = 'copy');
		DELETE FROM meta WHERE key = 'copy'`, newUUID())
	return err
}
