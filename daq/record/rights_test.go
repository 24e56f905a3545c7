//go:build unix

package record

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flowrigd/daq"
)

// rights gives those of every file in a directory, and of itself as ".".
func rights(t *testing.T, dir string) map[string]os.FileMode {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]os.FileMode{}
	for _, name := range append([]string{"."}, namesOf(list)...) {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		out[name] = info.Mode().Perm()
	}
	return out
}

func namesOf(list []os.DirEntry) (names []string) {
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names
}

// TestNobodyElseReads: neither what is made, nor what was made by others, nor a
// backup can be read by anybody but user and group.
func TestNobodyElseReads(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	r := open(t, dir, Options{})
	r.Put(tick(1))
	waitRow(t, r, 1)
	got := rights(t, dir)
	for _, name := range []string{FileName, FileName + "-wal", FileName + "-shm", lockName} {
		if mode, ok := got[name]; !ok || mode&^0o640 != 0 {
			t.Errorf("%s: %v, %v", name, mode, ok)
		}
	}
	if got["."]&^0o750 != 0 {
		t.Errorf("the directory: %v", got["."])
	}
	backup := filepath.Join(t.TempDir(), "copy.db")
	if err := r.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(backup); err != nil || info.Mode().Perm()&^0o640 != 0 {
		t.Errorf("the backup: %v, %v", info.Mode(), err)
	}
	shut(t, r)
	for _, name := range []string{FileName, lockName} {
		if err := os.Chmod(filepath.Join(dir, name), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	r = open(t, dir, Options{Log: slog.New(slog.NewTextHandler(&said, nil))})
	r.Put(tick(1))
	waitRow(t, r, 2)
	for name, mode := range rights(t, dir) {
		if name != "." && mode&^0o640 != 0 {
			t.Errorf("%s of before: %v", name, mode)
		}
	}
	shut(t, r)
	if !strings.Contains(said.String(), "everybody may write there") {
		t.Errorf("a directory of everybody: %s", &said)
	}
}

func TestLinkThatLeadsNowhere(t *testing.T) {
	dir, other := t.TempDir(), filepath.Join(t.TempDir(), "elsewhere.db")
	if err := os.Symlink(other, databasePath(dir)); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); err == nil || !strings.Contains(err.Error(), "where nothing can be reached") {
		t.Error(err)
	}
	if exists(other) {
		t.Error("the link was followed")
	}
}

// TestOldSecretsAreStruckOut: a configuration recorded with a secret loses it
// at the next opening, from the file and not only from the table, and keeps
// the name that the inputs know.
func TestOldSecretsAreStruckOut(t *testing.T) {
	dir := t.TempDir()
	shut(t, open(t, dir, Options{}))
	execute(t, dir, `INSERT INTO configuration VALUES ('f00', 'site = "north-hall"
[[notify]]
webhook = "https://desk.north-hall.example/`+strings.Repeat("S3CRET", 2000)+`"
', '')`)
	r := open(t, dir, Options{})
	r.Put(daq.Batch{Input: begin("f00").Input})
	text, err := r.Configuration(t.Context(), "f00")
	if want := "site = \"north-hall\"\n[[notify]]\nwebhook = \"https://desk.north-hall.example/struck-out\"\n"; text != want || err != nil {
		t.Errorf("%q, %v", text, err)
	}
	shut(t, r)
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	for _, file := range files {
		if b, err := os.ReadFile(file); err != nil || bytes.Contains(b, []byte("S3CRET")) {
			t.Errorf("%s still holds the secret (%v)", file, err)
		}
	}
}
