// Package hold keeps what holds the heating permit, and which recording that is
// in, in a small file outside the recording: a trip must outlive a restart where
// the recording's disk is full, away or replaced.
//
//	events of a step → Keeper → file; at a start: file + recording → Join → alarms
//
// It judges no water and drops no permit: the engine does. Nothing waits for its
// disk.
package hold

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"flowrigd/daq"
)

// Memory is what the file says.
type Memory struct {
	Recording string    `json:"recording"` // the UUID of the newest recording; "" where there was none yet
	Newest    int64     `json:"newest"`    // the newest alarm known to be in it
	Written   time.Time `json:"written"`   // a label for people
	Alarms    []Entry   `json:"alarms"`
}

// Entry is an alarm that holds the permit, or one that ceased to, until that is
// in the recording.
type Entry struct {
	daq.SavedAlarm
	Sequence int64 `json:"sequence,omitempty"` // in the recording; 0 while it is not known to be there
	After    int64 `json:"after,omitempty"`    // the newest alarm in the recording when this one changed
}

// Path is where the file of a rig stands: beside its tokens. The comma keeps two
// rigs apart whose names join to the same; in a name it is written %2C. File systems
// take names of 255 bytes (POSIX, NAME_MAX), and an escaped one may be three times as
// long as in the configuration: the SHA-256 stands for names that would not fit.
func Path(tokensFile, site, rig string) string {
	names := url.QueryEscape(site) + "," + url.QueryEscape(rig)
	if len(names) > 200 {
		names = fmt.Sprintf("%x", sha256.Sum256([]byte(names)))
	}
	return filepath.Join(filepath.Dir(tokensFile), "permit-"+names+".json")
}

// Read reads a file; fs.ErrNotExist where there is none. What is none, such as a
// pipe, is not waited for.
func Read(path string) (*Memory, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("permit file: %s: is not a file: move it away", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("permit file: %w", err)
	}
	m := &Memory{}
	if err := json.Unmarshal(text, m); err != nil {
		return nil, fmt.Errorf("permit file: %s: %w", path, err)
	}
	if m.Written.IsZero() {
		return nil, fmt.Errorf("permit file: %s: it is not whole", path)
	}
	return m, nil
}

// write puts the whole file in place of the old one. After a power cut one of
// the two is there.
func write(path string, m Memory) error {
	text, err := json.MarshalIndent(m, "", "\t")
	if err != nil {
		return fmt.Errorf("permit file: %w", err)
	}
	part := path + ".part"
	if err := writeSynced(part, append(text, '\n')); err != nil {
		return fmt.Errorf("permit file: %w; let the user that runs flowrigd write beside http.tokens_file, or name a tokens_file in another directory", err)
	}
	if err := os.Rename(part, path); err != nil {
		return fmt.Errorf("permit file: %w", err)
	}
	return syncDirectory(filepath.Dir(path))
}

func writeSynced(name string, text []byte) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) { // of a crash, or a link
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncDirectory makes the new name durable. A system that cannot sync a
// directory keeps names in its own way.
func syncDirectory(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("permit file: %w", err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !noDirectorySync {
		return fmt.Errorf("permit file: %w", err)
	}
	return nil
}
