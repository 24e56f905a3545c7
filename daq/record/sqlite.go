package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// lockName is a second, empty database whose exclusive lock says that a daemon
// records here. The operating system drops it with the process.
const lockName = "flowrig.lock"

// ErrInUse says that another process holds the recording.
var ErrInUse = errors.New("another flowrigd records here")

func databasePath(dir string) string { return filepath.Join(dir, FileName) }

// openDatabase opens one file with SQLite's URI parameters.
func openDatabase(path, parameters string) (*sql.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	name := filepath.ToSlash(abs)
	if !strings.HasPrefix(name, "/") { // a drive letter
		name = "/" + name
	}
	escaped := url.URL{Path: name}
	connector, err := sqlite.NewConnector("file:" + escaped.EscapedPath() + "?" + parameters)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return sql.OpenDB(connector), nil
}

// openWriter opens the database for the one writer and brings its tables up to
// date. fullfsync matters on Darwin alone, where fsync leaves data in the
// drive's cache.
func openWriter(path string) (*sql.DB, error) {
	if err := makeFile(path); err != nil {
		return nil, err
	}
	db, err := openDatabase(path, "_txlock=immediate&_busy_timeout=1000&_auto_vacuum=2&_journal_mode=WAL&_synchronous=FULL"+
		"&_pragma=fullfsync(1)&_pragma=journal_size_limit(67108864)&_dqs=0")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	err = prepareSchema(db)
	if err == nil {
		err = strikeSecrets(db)
	}
	if err != nil {
		db.Close()
		return nil, explain(path, "open", err)
	}
	return db, nil
}

// lockDirectory takes the directory for this process.
func lockDirectory(dir string) (*sql.DB, error) {
	path := filepath.Join(dir, lockName)
	if err := makeFile(path); err != nil {
		return nil, err
	}
	db, err := openDatabase(path, "_busy_timeout=0")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if _, err := db.ExecContext(context.Background(), "BEGIN EXCLUSIVE"); err != nil {
		db.Close()
		if code(err) == sqlite3.SQLITE_BUSY {
			return nil, fmt.Errorf("record.directory %s: %w; stop it, or name another directory", dir, ErrInUse)
		}
		return nil, explain(path, "lock", err)
	}
	return db, nil
}

// Free is nil where nobody holds the recording in dir; ErrInUse where another
// process does, and another error where that cannot be known.
func Free(dir string) error {
	lock, err := lockDirectory(dir)
	if err != nil {
		return err
	}
	return lock.Close()
}

// code is SQLite's primary result code of an error, 0 for another kind.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// explain adds the remedy to what SQLite says.
func explain(path, operation string, err error) error {
	remedy := map[int]string{
		sqlite3.SQLITE_NOTADB:   "the file is not a recording or is damaged: move it away together with its -wal and -shm files, and a new one is made",
		sqlite3.SQLITE_CORRUPT:  "the database is damaged: keep the file, try sqlite3's .recover on a copy, and move it away together with its -wal and -shm files so that a new one is made",
		sqlite3.SQLITE_FULL:     "the disk is full: free some space, or lower record.max_size",
		sqlite3.SQLITE_IOERR:    "the disk does not work: look at the system's log, and at the disk's space and health",
		sqlite3.SQLITE_CANTOPEN: "look at the rights of the file and its directory",
		sqlite3.SQLITE_READONLY: "the file is read-only: give it to the user that runs flowrigd",
		sqlite3.SQLITE_BUSY:     "another program holds the database's write lock: end it",
	}[code(err)]
	if remedy == "" {
		return fmt.Errorf("%s: %s: %w", path, operation, err)
	}
	return fmt.Errorf("%s: %s: %w; %s", path, operation, err, remedy)
}
