package rigsim

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// The files of a rig with a directory, beside the names of its lines.
const (
	truthName  = "truth.jsonl"
	configName = "rig.toml"
)

const (
	truthEvery = 100 * time.Millisecond
	truthLeast = 10 * time.Millisecond // of the machine's
	truthMost  = 256 << 20             // bytes, then the file becomes truth.old.jsonl
)

// errTruth marks a truth that could not be written.
var errTruth = errors.New("simulated rig: truth")

// truthFile is the written truth: one JSON object a line, each in one write.
type truthFile struct {
	path string
	file *os.File
	size int
}

// prepare writes truth and configuration. The lines get their names later, so
// that who waits for those finds everything.
func (s *Sim) prepare() (*truthFile, error) {
	dir := s.options.Dir
	if dir == "" {
		return nil, nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("simulated rig: directory: %w", err)
	}
	t := &truthFile{path: filepath.Join(dir, truthName)}
	if err := t.open(); err != nil {
		return nil, err
	}
	if err := t.write(s.Truth()); err != nil {
		return nil, err
	}
	if err := replace(filepath.Join(dir, configName), s.Config()); err != nil {
		t.file.Close()
		return nil, err
	}
	return t, nil
}

// replace writes a file beside and moves it into place, so that nobody reads
// half of it.
func replace(path string, text []byte) error {
	beside := path + ".new"
	if err := os.WriteFile(beside, text, 0o644); err != nil {
		return fmt.Errorf("simulated rig: %w", err)
	}
	if err := os.Rename(beside, path); err != nil {
		return fmt.Errorf("simulated rig: %w", err)
	}
	return nil
}

func (t *truthFile) open() error {
	f, err := os.Create(t.path)
	if err != nil {
		return fmt.Errorf("%w: %w", errTruth, err)
	}
	t.file, t.size = f, 0
	return nil
}

// run writes the truth until ctx ends. A disk that refuses it stops the rig:
// a test must not read an old truth as the present one.
func (t *truthFile) run(ctx context.Context, s *Sim, stop context.CancelCauseFunc) {
	defer t.close()
	tick := time.NewTicker(max(s.real(truthEvery), truthLeast))
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if err := t.write(s.Truth()); err != nil {
			stop(err)
			return
		}
	}
}

func (t *truthFile) close() error {
	if t == nil {
		return nil
	}
	return t.file.Close()
}

func (t *truthFile) write(truth Truth) error {
	if t.size > truthMost {
		if err := t.turn(); err != nil {
			return err
		}
	}
	b := truth.Time.AppendFormat([]byte(`{"time":"`), "2006-01-02T15:04:05.000000000Z07:00")
	b = truth.Values.AppendFields(append(b, `",`...))
	n, err := t.file.Write(append(b, "}\n"...))
	t.size += n
	if err != nil {
		return fmt.Errorf("%w: %w", errTruth, err)
	}
	return nil
}

// turn puts a full file aside, in place of the one before.
func (t *truthFile) turn() error {
	t.file.Close()
	if err := os.Rename(t.path, t.path[:len(t.path)-len(".jsonl")]+".old.jsonl"); err != nil {
		return fmt.Errorf("%w: %w", errTruth, err)
	}
	return t.open()
}
