package record

import (
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// filesOf are the files that SQLite has open for a database: itself, the log and
// the log's index. Beside a link they stand where it leads.
func filesOf(path string) (map[string]os.FileInfo, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	files := map[string]os.FileInfo{path: info}
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return nil, err
	}
	for _, name := range []string{real, real + "-wal", real + "-shm"} {
		if info, err := os.Stat(name); err == nil {
			files[name] = info
		}
	}
	return files, nil
}

// gone says which of the files was removed or replaced, under the eye of the health: a
// disk that hangs holds up this question too.
func (w *writer) gone(files map[string]os.FileInfo) error {
	w.r.health.begin(time.Now())
	defer w.r.health.rest()
	for name, opened := range files {
		if now, err := w.stat(name); err != nil || !os.SameFile(now, opened) {
			return fmt.Errorf("%s: was removed or replaced while it was in use", name)
		}
	}
	return nil
}

// lose ends the writing: whoever owns the recorder opens the recording again,
// and writes there what was not told as recorded.
func (w *writer) lose(c *chunk, why error) {
	w.lost = true
	w.r.health.lose(time.Now(), why.Error())
	w.log.Error("recording: "+why.Error(), "recording", w.r.Recording())
	w.r.queue.giveBack(c)
	close(w.r.lost)
}
