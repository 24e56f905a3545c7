package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What a kill -9 or a power cut may cost hangs on these two.
func TestWriterSyncsEveryCommit(t *testing.T) {
	db, err := openWriter(databasePath(t.TempDir()))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var mode string
	var synchronous int
	if err := db.QueryRow(`SELECT journal_mode, synchronous FROM pragma_journal_mode, pragma_synchronous`).Scan(&mode, &synchronous); err != nil {
		t.Fatal(err)
	}
	if mode != "wal" || synchronous != 2 { // 2 is FULL, https://www.sqlite.org/pragma.html#pragma_synchronous
		t.Errorf("journal_mode %s, synchronous %d", mode, synchronous)
	}
}

func TestOpenSaysWhatToDo(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, dir string) string // gives the directory to open
		want []string
	}{
		{"a file", func(t *testing.T, dir string) string {
			write(t, filepath.Join(dir, "f"), "x")
			return filepath.Join(dir, "f")
		}, []string{"this is a file", "name a directory"}},
		{"below a file", func(t *testing.T, dir string) string {
			write(t, filepath.Join(dir, "f"), "x")
			return filepath.Join(dir, "f", "g")
		}, []string{"cannot be made", "name another one"}},
		{"not a database", func(t *testing.T, dir string) string {
			write(t, databasePath(dir), strings.Repeat("just some text\n", 1000))
			return dir
		}, []string{FileName, "not a recording or is damaged", "move it away"}},
		{"a torn page", func(t *testing.T, dir string) string {
			shut(t, open(t, dir, Options{}))
			tear(t, databasePath(dir))
			return dir
		}, []string{FileName, "damaged", "move it away"}},
		{"another program's", func(t *testing.T, dir string) string {
			execute(t, dir, `CREATE TABLE poems(line TEXT)`)
			return dir
		}, []string{"another program", "name another record.directory"}},
		{"a newer schema", func(t *testing.T, dir string) string {
			shut(t, open(t, dir, Options{}))
			execute(t, dir, `UPDATE meta SET value = '99' WHERE key = 'schema'`)
			return dir
		}, []string{"schema 99", "newer flowrigd", "name another record.directory"}},
		{"the next schema", func(t *testing.T, dir string) string {
			shut(t, open(t, dir, Options{}))
			execute(t, dir, `UPDATE meta SET value = value + 1 WHERE key = 'schema'`)
			return dir
		}, []string{"newer flowrigd", "name another record.directory"}},
		{"a link that leads nowhere", func(t *testing.T, dir string) string {
			if err := os.Symlink(filepath.Join(dir, "away", FileName), databasePath(dir)); err != nil {
				t.Fatal(err)
			}
			return dir
		}, []string{"is a link to", "away", "mount the disk", "remove the link"}},
		{"in use", func(t *testing.T, dir string) string {
			open(t, dir, Options{})
			return dir
		}, []string{"another flowrigd records here"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := Open(c.make(t, t.TempDir()), Options{})
			if err == nil {
				shut(t, r)
				t.Fatal("was opened")
			}
			for _, part := range c.want {
				if !strings.Contains(err.Error(), part) {
					t.Errorf("%q does not say %q", err, part)
				}
			}
		})
	}
}

func TestOpenMakesTheDirectory(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a b", "50% #1?")
	open(t, dir, Options{})
	if _, err := os.Stat(databasePath(dir)); err != nil {
		t.Error(err)
	}
}

func TestReaderNeedsARecording(t *testing.T) {
	if _, err := OpenReader(t.TempDir()); err == nil || !strings.Contains(err.Error(), "no recording there") {
		t.Error(err)
	}
}

// A quantity that came with a newer flowrigd gets its column; rows before it
// are unknown, not zero.
func TestMissingColumnIsAdded(t *testing.T) {
	dir := t.TempDir()
	r := open(t, dir, Options{})
	r.Put(tick(1))
	shut(t, r)
	execute(t, dir, `DROP VIEW sample; ALTER TABLE sample_row DROP COLUMN reynolds_number`)
	old, err := OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { old.Close() })
	if got := bodies(t, old)[0]; !strings.Contains(got, `"reynolds_number":null`) {
		t.Error(got)
	}
	r = open(t, dir, Options{})
	r.Put(tick(2))
	waitRow(t, r, 2)
	got := bodies(t, r.Reader)
	if !strings.Contains(got[0], `"reynolds_number":null`) || !strings.Contains(got[1], `"reynolds_number":2,`) {
		t.Error(got)
	}
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// tear overwrites the page that holds the tables' names, behind the header.
func tear(t *testing.T, name string) {
	t.Helper()
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte(strings.Repeat("\xff", 900)), 100); err != nil {
		t.Fatal(err)
	}
}

// execute changes the database as another tool would.
func execute(t *testing.T, dir, statement string) {
	t.Helper()
	db, err := openDatabase(databasePath(dir), "")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}
